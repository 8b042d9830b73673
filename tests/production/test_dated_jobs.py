"""Base and response against dated jobs, and cases of real wells. Oracles: algebra of a job that does nothing, the
volume of a hyperbola in closed form, the binomial error, and the facts a case was written from."""

import numpy as np
import pandas as pd
import pytest

from benchmarks.dated_jobs import (
    ACCELERATION,
    AHEAD,
    STARTER,
    Ahead,
    B,
    Rule,
    scored,
    table_row,
    with_response,
)
from benchmarks.real_wells import chosen_wells, write_case
from refracmc.case.load import load_case

DRAWS = 400
FREE = {
    "decline": 1.2,
    "depletion_exponent": 0.0,
    "headroom": 1e6,
    "kept": 1.0,
}


def a_date(actual=(10_000.0, 15_000.0), well="1"):
    generator = np.random.default_rng(4)
    year = generator.lognormal(np.log(9_000.0), 0.3, DRAWS)
    base = np.stack([year, 1.7 * year])
    technical = 50_000.0 + 4.0 * year
    month = np.datetime64("2015-01", "M")
    return Ahead(
        well, month, np.array(actual), base, 50_000.0, technical, 1.0, np.full(DRAWS, 0.9), 100.0, 0.9, True
    )


def rule(uplift, **terms):
    return Rule(lambda well, n, generator: np.full(n, uplift), {**STARTER, **FREE, **terms})


def test_a_job_that_adds_nothing_and_keeps_all_leaves_the_base():
    date = a_date()
    assert np.allclose(with_response(date, rule(0.0), np.random.default_rng(1)), date.base, rtol=1e-12)
    kept = with_response(date, rule(0.0, kept=0.8), np.random.default_rng(1))
    assert np.allclose(kept, 0.8 * date.base, rtol=1e-12)


def test_the_stream_of_a_job_is_its_hyperbola():
    """q/((1 - b) D) (1 - (1 + b D t)^(1 - 1/b)) of 12 months, before any terminal decline."""
    date = a_date()
    made = with_response(date, rule(0.4), np.random.default_rng(1))
    per_day, days = 1.2 / 365.25, 0.9 * 12 * 30.4375
    volume = 0.4 * 100.0 / ((1 - B) * per_day) * (1.0 - (1.0 + B * per_day * days) ** (1.0 - 1.0 / B))
    assert np.all(made[0] - date.base[0] < volume)
    brought_forward = (volume - made[0] + date.base[0]) / date.base[0]
    assert np.all(brought_forward <= 1.0)
    assert np.allclose(made[0] - (1.0 - brought_forward) * date.base[0], volume)
    assert (
        ACCELERATION > 0.0
    )  # what is brought forward is taken from the old stream's remainder, in every draw alike
    assert np.allclose(
        brought_forward * (date.technical - date.produced),
        brought_forward[0] * (date.technical[0] - date.produced),
    )


def test_coverage_and_its_error():
    """Actual volumes drawn as the forecast are in the band in 80 %; one error is sqrt(.8 .2 / n). Twice the volume is
    not (negative control)."""
    date, generator = a_date(), np.random.default_rng(8)
    drawn = [a_date(date.base[:, generator.integers(DRAWS)], str(k)) for k in range(300)]
    table = scored(drawn, None)
    one = table[table["months"] == AHEAD[0]]
    again = generator.multinomial(300, np.full(300, 1 / 300), 500).astype(float)
    row = table_row("base", one, one, again)
    error = np.sqrt(0.8 * 0.2 / 300)
    assert row["coverage"] == pytest.approx(0.8, abs=3 * error)
    assert row["se"] == pytest.approx(error, rel=0.3)
    assert row["less_placebo"] == 0.0
    doubled = scored([a_date(2.0 * d.actual, d.well_id) for d in drawn], None)
    assert 1.0 - doubled["above"].mean() < 0.5


def wells_and_months():
    dates = pd.date_range("2019-03", periods=60, freq="MS")
    rate = 800.0 * (1.0 + 0.08 * np.arange(60)) ** -1.1
    rows = {
        "date": dates,
        "oil_bbl": 30.0 * rate,
        "gas_mcf": 40.0 * rate,
        "water_bbl": 20.0 * rate,
        "days_on": 28.0,
    }
    frames = [pd.DataFrame({"well_id": str(k), **rows}).head(60 if k < 8 else 40) for k in range(10)]
    wells = pd.DataFrame(
        {"well_id": [str(k) for k in range(10)], "main_phase": ["oil", "gas"] * 5, "area": "a"}
    )
    return pd.concat(frames), wells.assign(lateral_m=2000.0, stages=[4, *[25] * 9], proppant_t=5000.0)


def test_wells_are_chosen_by_the_rule():
    production, wells = wells_and_months()
    chosen = chosen_wells(production, wells, 6, seed=1)
    assert len(chosen) == 6
    assert not {"0", "8", "9"} & set(chosen["well_id"])  # too few stages, too short
    assert list(chosen["main_phase"]) == ["oil"] * 3 + ["gas"] * 3


def test_a_case_holds_the_facts_of_its_well(tmp_path):
    production, wells = wells_and_months()
    history = production[production["well_id"] == "1"]
    path = write_case(tmp_path / "1", wells.iloc[1], history, 512, [])
    case = load_case(path)
    well = case.wells[0]
    assert case.sampling.trials == 512
    assert well.main_phase == "gas"
    assert well.settings.completion.lateral_ft == pytest.approx(2000 * 3.28084, abs=1)
    assert well.settings.completion.proppant_lb_per_ft == pytest.approx(2500 * 2204.62 / 3280.84, rel=0.001)
    assert len(well.tally.depth_ft) == 25
    assert str(case.valuation.date) == "2024-03"
    with pytest.raises(SystemExit, match="0 lines"):
        write_case(tmp_path / "2", wells.iloc[1], history, 512, ["no_such_key=1"])
