"""Coverage of the forecast bands on ten real wells, at five cut-offs each (data: tests/data, attribution
there).

Tolerance: the ten wells' five forecasts overlap; with a correlation of one half between forecasts of a
well, fifty count as 50 / (1 + 4 x 0.5) = 17. Coverage of an 80 % band then has a standard error of sqrt(.16
/ 17) = 0.097; three of them are allowed. Negative controls: the same bands a quarter as wide, and the same
forecasts shifted by half, must fail."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from refracmc.production.hidden_months import HindcastSettings, run, split_wells, table_row
from refracmc.production.least_squares import least_squares_draws
from refracmc.production.sampler import keyed_generator
from refracmc.production.scores import score

DATA = Path(__file__).parents[1] / "data"
CUTS = ((12, 24), (18, 24), (24, 24), (30, 24), (36, 24))
EFFECTIVE = 50 / (1 + 4 * 0.5)
TOLERANCE = 3 * np.sqrt(0.16 / EFFECTIVE)


@pytest.fixture(scope="module")
def hindcasts():
    frame = pd.read_csv(DATA / "shale_ten_production.csv", dtype={"well_id": str})
    wells = pd.read_csv(DATA / "shale_ten_wells.csv", dtype=str)
    areas = dict(zip(wells["well_id"], wells["area"], strict=True))
    ours, other = [], []
    for months_in, months_out in CUTS:
        settings = HindcastSettings(months_in, months_out, undeclared="zero", draws=512, particles=256)
        result = run(frame, settings, areas)
        ours.append(result.table)
        for name, well in result.wells.items():
            try:
                draws = least_squares_draws(well.known, months_out, 512, keyed_generator(1, "test", name))
            except ValueError:
                continue
            other.append(table_row(name, well, draws, "", settings))
    return pd.concat(ours, ignore_index=True), pd.DataFrame(other)


def coverage_holds(table):
    return abs(score(table)["coverage"] - 0.8) <= TOLERANCE


def tails_hold(table):
    """Each tail of the randomised integral within three standard errors of a tenth."""
    found = score(table)
    limit = 3 * np.sqrt(0.09 / EFFECTIVE)
    return abs(found["tail_low"] - 0.1) <= limit and abs(found["tail_high"] - 0.1) <= limit


def test_every_well_is_there_and_the_bands_hold_the_truth(hindcasts):
    table, _ = hindcasts
    assert len(table) == 10 * len(CUTS)
    assert table["used"].sum() >= 45
    assert coverage_holds(table)
    assert tails_hold(table)


def test_bands_a_quarter_as_wide_or_shifted_fail(hindcasts):
    table, _ = hindcasts
    narrow = table.assign(
        p90=table["p50"] + 0.25 * (table["p90"] - table["p50"]),
        p10=table["p50"] + 0.25 * (table["p10"] - table["p50"]),
    )
    assert not coverage_holds(narrow)
    shifted = table.assign(p90=table["p90"] * 2.0, p10=table["p10"] * 2.0)
    assert not coverage_holds(shifted)


def test_the_loss_is_below_that_of_least_squares(hindcasts):
    table, other = hindcasts
    keys = ["well_id", "months_in"]
    both = table.merge(other[keys], on=keys)
    ours, theirs = score(both), score(other)
    assert ours["wells"] == theirs["wells"] >= 40
    assert ours["pinball"] < 0.9 * theirs["pinball"]


def test_months_after_the_cut_off_change_nothing():
    """Oracle: the forecast from a file whose hidden months are replaced by nonsense is the same to the last
    bit."""
    frame = pd.read_csv(DATA / "shale_ten_production.csv", dtype={"well_id": str})
    wells = pd.read_csv(DATA / "shale_ten_wells.csv", dtype=str)
    areas = dict(zip(wells["well_id"], wells["area"], strict=True))
    settings = HindcastSettings(24, 12, undeclared="zero", draws=128, particles=128)
    ready, _ = split_wells(frame, settings, areas)
    name, well = next((n, w) for n, w in ready.items() if w.known.main_phase == "gas")
    spoilt = frame.copy()
    late = spoilt["date"].to_numpy().astype("datetime64[M]") >= well.cut_off
    spoilt.loc[late, ["oil_bbl", "gas_mcf", "water_bbl"]] *= 7.0
    same_area = spoilt["well_id"].map(areas).eq(areas[name]) & (spoilt["well_id"] != name)
    spoilt.loc[same_area, ["oil_bbl", "gas_mcf"]] *= 3.0
    first = run(frame, settings, areas).draws[name]
    second = run(spoilt, settings, areas).draws[name]
    assert first.tobytes() == second.tobytes()
    # negative control: a month before the cut-off does change it
    early = spoilt.copy()
    chosen = early["well_id"] == name
    early.loc[chosen, "gas_mcf"] *= 1.1
    assert run(early, settings, areas).draws[name].tobytes() != first.tobytes()
