"""The cost is the sum of its parts. Oracle: arithmetic by hand on a job of known days, and conservation."""

import numpy as np
import pytest
from job_wells import PERFECT, inputs, luck, tally

from refracmc.engine.job_runs import simulate
from refracmc.job.cost import CostRates, job_cost
from refracmc.job.inputs import JobInputs, JobPolicy
from refracmc.job.orders import named_order
from refracmc.job.planner import plan

RATES = {
    "mobilisation_usd": 150_000.0,
    "workover_usd_per_day": 9_000.0,
    "ct_spread_usd_per_day": 40_000.0,
    "frac_spread_usd_per_day": 90_000.0,
    "stage_materials_usd": 7_000.0,
    "water_bbl_per_stage": 1_500.0,
    "water_usd_per_bbl": 2.0,
    "trip_usd": 20_000.0,
    "patch_usd": 60_000.0,
    "perforate_usd": 30_000.0,
    "screenout_usd": 25_000.0,
    "stuck_ct_usd": 400_000.0,
    "well_lost_usd": 900_000.0,
    "cancellation_usd": 120_000.0,
    "flowback_usd_per_day": 5_000.0,
    "load_recovery_fraction": 0.3,
    "load_disposal_usd_per_bbl": 1.0,
}


def test_a_job_by_hand() -> None:
    well = tally(5)
    sure = JobInputs.build(2, **(PERFECT | {"npt_fraction": 0.0, "stages_per_bha": 2.0}))
    made = plan(well, named_order("toe_to_heel", well))
    result = simulate(made, well, sure, luck(2, 5), np.full(5, 9.0), JobPolicy())
    # 10 shifts of .4 h, 5 tests of .2 h, 5 stages of 1.5 h, 2 trips of 14 h, 12 h cleanout, 40,000 ft travel
    ct_days = (4.0 + 1.0 + 7.5 + 28.0 + 12.0 + 40_000 / 3_000) / 24.0 + 1.0
    assert result.days[0] == pytest.approx(5.0 + ct_days + 6.0)
    total, parts = job_cost(result, CostRates.build(**RATES, service_index=1.2))
    expected = (
        150_000
        + 9_000 * 5
        + 40_000 * ct_days
        + 90_000 * ct_days
        + 5 * (7_000 + 1_500 * 2.0)
        + 2 * 20_000
        + 5_000 * 6
        + 5 * 1_500 * 0.3
    )
    assert total[0] == pytest.approx(1.2 * expected, rel=1e-12)
    assert parts["trips"][0] == pytest.approx(48_000)


def test_parts_sum_and_follow_the_events() -> None:
    well = tally(9, ["open"] * 7 + ["stuck_open", "open"])
    n = 400
    result = simulate(
        plan(well, named_order("alternating", well)),
        well,
        inputs(n),
        luck(n, 9),
        np.full(9, 9.0),
        JobPolicy("patch", "perforate", "perforate", 1),
    )
    index = np.linspace(0.8, 1.3, n)
    total, parts = job_cost(result, CostRates.build(**RATES, service_index=index))
    np.testing.assert_allclose(sum(parts.values()), total, rtol=1e-14)
    for name, event, rate in (
        ("cancellation", result.called_off, 120_000.0),
        ("stuck_ct", result.stuck, 400_000.0),
        ("well_lost", result.lost, 900_000.0),
    ):
        assert event.any()
        np.testing.assert_allclose(parts[name], event * rate * index)
    np.testing.assert_allclose(parts["ct_spread"], 40_000 * (result.ct_days + result.stuck_days) * index)
    assert (parts["materials"][result.called_off] == 0).all()


def test_rates_refused() -> None:
    with pytest.raises(ValueError, match=r"trip_usd must.*load_recovery_fraction must"):
        CostRates.build(**(RATES | {"trip_usd": -1.0, "load_recovery_fraction": 1.1}))
