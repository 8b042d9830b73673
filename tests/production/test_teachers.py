"""What a well teaches others as of a date (data: tests/data, attribution there).

Oracles: the posterior of a normal model by its whole covariance matrix; a later month multiplied by two; forecasts from
a file whose months after a date are multiplied by random factors, to the last bit."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from benchmarks.area_effects import effects
from refracmc.production.hidden_months import HindcastSettings, run
from refracmc.production.history import build_history
from refracmc.production.pooling import Spread, learn_field
from refracmc.production.prior import default_prior
from refracmc.production.teachers import LARGEST_GAP, Teacher

DATA = Path(__file__).parents[1] / "data"


def test_the_effect_of_an_area_is_told_from_the_luck_of_its_years():
    generator = np.random.default_rng(4)
    years = np.array([2018] * 7 + [2019] * 2 + [2021] * 12)
    values, spread = generator.normal(0.4, 1.0, years.size), Spread(0.6, 0.9, 1.1)
    same = (years[:, None] == years[None, :]).astype(float)
    covariance = spread.areas**2 + spread.years**2 * same + spread.wells**2 * np.eye(years.size)
    gain = np.linalg.solve(covariance, np.full(years.size, spread.areas**2))
    for expected in (0.0, -0.3):
        mean, variance = spread.effect_of_area(values, years, expected)
        assert mean == pytest.approx(expected + gain @ (values - expected))
        assert variance == pytest.approx(spread.areas**2 - gain.sum() * spread.areas**2)
    assert spread.effect_of_area(values[:0], years[:0], 0.2) == pytest.approx((0.2, 0.36))
    # negative control: wells of one year taken as years of their own say too much
    assert spread.effect_of_area(values, np.arange(years.size))[1] < 0.5 * variance


def well(name="w", months=60, factor=1.0, since=36):
    dates = pd.date_range("2016-01", periods=months, freq="MS")
    days = dates.days_in_month.to_numpy().astype(float)
    noise = np.exp(0.05 * np.random.default_rng(2).standard_normal(months))
    oil = 900.0 / (1.0 + 1.2 * np.arange(months) / 12.0) * days * noise
    oil[since:] *= factor
    return pd.DataFrame(
        {"well_id": name, "date": dates, "oil_bbl": oil, "gas_mcf": oil, "days_on": days, "water_bbl": 0.0}
    )


def outcomes(frame, date):
    told = Teacher(build_history(frame, "w")).evidence(np.datetime64(date, "M"))
    return {(o.year, round(o.level_gap, 9)) for o in told.outcomes}


def test_a_forecast_teaches_once_it_is_finished():
    # cut after 12 months (January 2017) and ahead 24: finished in January 2019; after 24 months ahead 12 likewise
    assert Teacher(build_history(well(), "w")).evidence(np.datetime64("2016-12", "M")) is None
    count = {
        date: len(Teacher(build_history(well(), "w")).evidence(np.datetime64(date, "M")).outcomes)
        for date in ("2017-12", "2018-01", "2018-12", "2019-01", "2021-01")
    }
    assert count == {"2017-12": 0, "2018-01": 1, "2018-12": 1, "2019-01": 2, "2021-01": 4}
    # what happens from January 2019 on reaches no forecast finished by then
    assert outcomes(well(factor=5.0), "2019-01") == outcomes(well(), "2019-01")
    assert outcomes(well(factor=5.0), "2019-02") == outcomes(well(), "2019-02")
    assert outcomes(well(factor=5.0), "2020-01") != outcomes(well(), "2020-01")


def test_the_level_missed_is_that_of_the_months_forecast():
    def gap(factor):
        told = Teacher(build_history(well(months=48, factor=factor, since=24), "w"))
        return {o.year: o.level_gap for o in told.evidence(np.datetime64("2020-01", "M")).outcomes}[2018]

    # the forecast itself is the same; noise of 5 % a month leaves it within a tenth
    assert gap(2.0) - gap(1.0) == pytest.approx(np.log(2.0))
    assert abs(gap(1.0)) < 0.2
    assert gap(9.0) == LARGEST_GAP


def test_the_main_phase_of_a_teacher_is_told_from_its_known_months():
    frame = well()
    frame.loc[12:, "gas_mcf"] *= 40.0
    frame.loc[:11, "oil_bbl"] = np.where(np.arange(12) % 2 == 0, frame.loc[:11, "oil_bbl"], 0.0)
    frame.loc[:11, "gas_mcf"] = np.where(np.arange(12) % 2 == 0, frame.loc[:11, "gas_mcf"], 0.0)
    teacher = Teacher(build_history(frame, "w"))
    assert teacher.phase(np.datetime64("2017-01", "M")) == "oil"
    assert teacher.history.main_phase == teacher.phase(np.datetime64("2018-01", "M")) == "gas"
    assert Teacher(build_history(frame, "w", "oil"), "oil").phase(np.datetime64("2018-01", "M")) == "oil"


def test_nothing_after_a_date_moves_a_forecast_made_by_it():
    frame = pd.read_csv(DATA / "shale_ten_production.csv", dtype={"well_id": str})
    wells = pd.read_csv(DATA / "shale_ten_wells.csv", dtype=str)
    areas = dict.fromkeys(wells["well_id"], "one") | {wells["well_id"][0]: "other"}
    settings = HindcastSettings(24, 12, undeclared="zero", draws=128, particles=128)
    first = run(frame, settings, areas)
    cut_offs = np.sort([item.cut_off for item in first.wells.values()])
    date = cut_offs[len(cut_offs) // 2]
    made_by_it = [name for name, item in first.wells.items() if item.cut_off <= date]

    def spoilt(late):
        changed = frame.copy()
        factor = np.random.default_rng(6).uniform(0.2, 5.0, (late.sum(), 3))
        changed.loc[late, ["oil_bbl", "gas_mcf", "water_bbl"]] *= factor
        return run(changed, settings, areas).draws

    month = frame["date"].to_numpy().astype("datetime64[M]")
    after = spoilt(month >= date)
    assert 1 < len(made_by_it) < len(first.wells)
    assert all(first.draws[name].tobytes() == after[name].tobytes() for name in made_by_it)
    # negative control: months just before it, of wells that are already cut off, do teach
    known = pd.Series({name: item.cut_off for name, item in first.wells.items()})
    hidden = month >= known.reindex(frame["well_id"]).to_numpy().astype("datetime64[M]")
    before = spoilt(hidden & (month < date))
    assert any(first.draws[name].tobytes() != before[name].tobytes() for name in made_by_it)


def test_a_field_whose_wells_run_more_is_forecast_to():
    evidence = Teacher(build_history(well(), "w")).evidence(np.datetime64("2021-01", "M"))
    often = replace(evidence, outcomes=tuple(replace(o, uptime_gap=1.0) for o in evidence.outcomes))
    base = default_prior("oil")
    prior = learn_field([often] * 10, base)
    assert 0.3 < prior.uptime.mean[0] - base.uptime.mean[0] < 1.0
    assert prior.uptime.mean_area_sd < base.uptime.mean_area_sd


def test_the_spread_of_areas_years_and_wells_is_found_again():
    """Oracle: the standard deviations the numbers were made with; tolerance: three standard errors of a standard
    deviation of so many effects, sd/sqrt(2 n)."""
    generator = np.random.default_rng(9)
    area = np.repeat([f"a{k}" for k in range(60)], 40)
    year = np.tile(np.repeat([str(2015 + k) for k in range(5)], 8), 60)
    effect = np.repeat(generator.normal(0.0, 0.8, 60), 40) + np.repeat(generator.normal(0.0, 0.5, 300), 8)
    x = np.column_stack([np.ones(area.size), generator.normal(0.0, 1.0, area.size)])
    y = x @ [1.0, 0.3] + effect + generator.normal(0.0, 1.0, area.size)
    found = effects(x, y, area, year)
    for name, sd, n in (("areas", 0.8, 60), ("years", 0.5, 300), ("wells", 1.0, 2400)):
        assert getattr(found, name) == pytest.approx(sd, abs=3 * sd / np.sqrt(2 * n) + 0.02)
    assert np.all(np.abs(found.slopes - [1.0, 0.3]) < 3 * found.errors)
    # negative control: wells of an area dealt out among all areas share nothing
    assert effects(x, y, generator.permutation(area), year).areas < 0.3
