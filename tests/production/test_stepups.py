"""Step-ups and uplift of dated jobs. Oracle: histories made with a step of known size and date."""

import numpy as np
import pandas as pd
import pytest

from refracmc.production.history import build_history
from refracmc.production.stepups import find_step_ups, propose_segment
from refracmc.production.uplift import measure_uplift, named_uplift, uplift_of_jobs


def made(step=None, ratio=4.0, months=60, seed=2, name="1"):
    dates = pd.date_range("2012-01", periods=months, freq="MS")
    rate = (
        1000.0
        * np.exp(-0.03 * np.arange(months))
        * np.exp(0.05 * np.random.default_rng(seed).standard_normal(months))
    )
    if step is not None:
        rate[step:] += (ratio - 1.0) * rate[step - 1] * np.exp(-0.05 * np.arange(months - step))
    days = dates.days_in_month.to_numpy(dtype=float)
    frame = pd.DataFrame({"date": dates, "oil_bbl": rate * days, "gas_mcf": 0.0, "days_on": days})
    return build_history(frame, name)


def test_a_step_is_found_in_its_month_and_proposed():
    steps = find_step_ups(made(step=30))
    assert [s.index for s in steps] == [30]
    assert steps[0].ratio == pytest.approx(4.0, rel=0.15)
    assert str(propose_segment(made(step=30))) == "2014-07"


def test_a_plain_decline_has_no_step():
    assert sum(len(find_step_ups(made(seed=k))) for k in range(20)) == 0
    assert propose_segment(made()) is None


def test_a_short_history_has_no_step():
    assert find_step_ups(made(months=8)) == ()


def test_the_uplift_is_the_gain_over_the_peak_rate():
    history = made(step=30, ratio=4.0)
    found = measure_uplift(history, history.dates[29])
    expected = 3.0 * np.exp(-0.03 * 29) * np.exp(-0.05)  # mean of the first three months of the added rate
    assert found.uplift == pytest.approx(expected / np.exp(-0.03), rel=0.15)
    assert measure_uplift(history, history.dates[2]) is None


def test_a_job_without_response_counts_as_zero():
    wells = {str(k): made(30 if k % 2 else None, months=96, seed=k, name=str(k)) for k in range(10)}
    jobs = [(name, h.dates[29]) for name, h in wells.items()]
    uplift, raw, threshold = uplift_of_jobs(wells, jobs)
    assert (uplift == 0).sum() >= 4
    assert (uplift > 1.0).sum() == 5
    assert threshold < 0.3
    assert len(raw) == 10
    with pytest.raises(ValueError, match="no job"):
        uplift_of_jobs(wells, [("1", wells["1"].dates[1])])


def test_the_shipped_record_has_its_no_response_mass_and_source():
    values, source = named_uplift("dated_jobs_vertical")
    assert list(values) == sorted(values)
    assert np.mean(np.array(values) == 0) == pytest.approx(0.47, abs=0.05)
    assert "CC BY 4.0" in source
    with pytest.raises(ValueError, match="allowed"):
        named_uplift("none")
