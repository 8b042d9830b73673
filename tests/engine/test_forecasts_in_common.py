"""Forecasts of the wells of one area have a part of their errors in common; a well's own stays what it was.

Oracle: the correlation of normal scores that the key states, the spread of a sum of equally correlated normals, and
the draws with nothing in common. Tolerances are four standard errors."""

from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtri

from refracmc.case.load import load_case
from refracmc.engine.draws import ROW, draw
from refracmc.engine.fitted_wells import prepare_wells
from refracmc.engine.plan import WellPlan
from refracmc.engine.progress import Silent
from refracmc.production.common_shock import COMMON_PART
from refracmc.sampling.streams import BLOCK_SIZE
from tests.system.small_case import CASE, history_text, write_case

BLOCKS = 24
OTHERS = ("A", "C", "D", "E")
"""Two wells of one area, one of another, one that states none."""
AREAS = dict(zip(OTHERS, ("north", "north", "south", ""), strict=True))


def plans_of(folder: Path, design: str, common: str = "") -> list[WellPlan]:
    """Four wells with the same history, of which only id and area differ."""
    top, first, _ = CASE.split("[[wells]]")
    text = top.replace("seed = 5", f'seed = 5\ndesign = "{design}"').replace(
        "[dependence]", f"[dependence]\n{common}"
    )
    for well, area in AREAS.items():
        stated = f'id = "{well}"\narea = "{area}"' if area else f'id = "{well}"'
        text += "[[wells]]" + first.replace('id = "A"', stated)
    path = write_case(folder, text)
    (path.parent / "history.csv").write_text(history_text("ACDE"))
    tally = (path.parent / "sleeves.csv").read_text().splitlines()
    rows = [f"{well},{row.split(',', 1)[1]}" for well in OTHERS for row in tally[1:] if row.startswith("A,")]
    (path.parent / "sleeves.csv").write_text("\n".join([tally[0], *rows]) + "\n")
    plans, refused = prepare_wells(load_case(path), 1, Silent())
    assert not refused
    return plans


def rows_of(plan: WellPlan) -> np.ndarray:
    """Places in the set of posterior rows, (blocks, trials)."""
    return np.array([draw(plan, block, BLOCK_SIZE)[ROW] for block in range(BLOCKS)])


@pytest.mark.parametrize("design", ["latin_hypercube", "plain", "sobol"])
def test_wells_of_an_area_are_correlated_by_the_part_stated(tmp_path: Path, design: str) -> None:
    rows = {plan.id: rows_of(plan) for plan in plans_of(tmp_path / "in", design)}
    alone = {
        plan.id: rows_of(plan) for plan in plans_of(tmp_path / "own", design, "forecast_common_part = 0.0")
    }
    for well in OTHERS:  # the same places in every block, in another order
        assert np.array_equal(np.sort(rows[well], axis=1), np.sort(alone[well], axis=1))
    score = {well: ndtri(places).ravel() for well, places in rows.items()}
    free = {well: ndtri(places).ravel() for well, places in alone.items()}
    n = BLOCKS * BLOCK_SIZE
    for a, b, part in (("A", "C", COMMON_PART), ("A", "D", 0.0), ("A", "E", 0.0), ("D", "E", 0.0)):
        four = 4.0 * (1.0 - part**2) / np.sqrt(n)
        assert np.corrcoef(score[a], score[b])[0, 1] == pytest.approx(part, abs=four)
        assert np.corrcoef(free[a], free[b])[0, 1] == pytest.approx(
            0.0, abs=4.0 / np.sqrt(n)
        )  # negative control


def test_the_band_of_a_sum_widens_and_a_wells_own_does_not(tmp_path: Path) -> None:
    """Recovery left alone of two wells of one area: the variance of the sum grows by the covariance of the two."""
    sums, spreads = [], []
    for common in ("", "forecast_common_part = 0.0"):
        plans = [p for p in plans_of(tmp_path / (common or "in"), "latin_hypercube", common) if p.id in "AC"]
        sizes = BLOCKS * BLOCK_SIZE
        found = np.zeros((2, sizes))
        for k, plan in enumerate(plans):
            assert plan.posterior is not None
            recovery, rows = plan.posterior.technical_eur, plan.posterior.set_rows
            for block in range(BLOCKS):
                places = draw(plan, block, BLOCK_SIZE)[ROW]
                first = rows * (block % plan.posterior.sets)
                found[k, BLOCK_SIZE * block : BLOCK_SIZE * (block + 1)] = recovery[
                    first + (places * rows).astype(int)
                ]
        sums.append(np.ptp(np.quantile(found.sum(axis=0), [0.1, 0.9])))
        spreads.append([np.ptp(np.quantile(row, [0.1, 0.9])) for row in found])
    assert np.allclose(spreads[0], spreads[1])
    of_width = 0.89 / np.sqrt(BLOCKS * BLOCK_SIZE)  # relative standard error of P90 to P10 of a normal
    assert sums[0] / sums[1] == pytest.approx(np.sqrt(1.0 + COMMON_PART), rel=4.0 * np.sqrt(2.0) * of_width)
