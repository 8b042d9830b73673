"""Plans of the awkward cases of the second route, and the edges that their draws are set to."""

from pathlib import Path

import numpy as np

from refracmc.case.load import load_case
from refracmc.engine.draws import draw
from refracmc.engine.plan import build_plan
from refracmc.engine.volumes import branch_volumes
from refracmc.sampling.streams import BLOCK_SIZE
from tests.second_route.awkward import CASES

# What becomes of the drawn values: the edges of the model, one at a time.
EDGES = {
    "no uplift": {"response.uplift": 0.0},
    "nothing of the old kept": {"response.kept_fraction": 0.0},
    "all of it acceleration": {"response.acceleration_fraction": 1.0},
    "no room under the ultimate": {"response.headroom": 1.0},
    "never worth producing": {"opex.fixed_usd_per_month": 1e7},
    "no costs at all": {"opex.fixed_usd_per_month": 0.0, "opex.oil_usd_per_bbl": 0.0, "opex.water_usd_per_bbl": 0.0},
    "dear abandonment": {"opex.abandonment_usd": 1e8},
    "shut in beyond the horizon": {"job.waiting_days": 9000.0},
    "whole months shut in": {"job.waiting_days": 365.25},
    "well always lost": {"luck.u_event": 1e-12},
}  # fmt: skip


def awkward_plan(name, folder: Path):
    """The plan of the one well of a case of the second route's list."""
    return plan_of_text(*CASES[name], folder)


def plan_of_text(text, tally, folder: Path):
    """The plan of the one well of a case and a tally given as texts."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "case.toml").write_text(text, "utf-8")
    (folder / "sleeves.csv").write_text(tally, "utf-8")
    case = load_case(folder / "case.toml")
    return build_plan(case, case.wells[0], 0, None)


def drawn(plan, edge=None, trials=BLOCK_SIZE):
    """Draws of the first block, some of them set to an edge."""
    values = draw(plan, 0, trials)
    for key, value in (edge or {}).items():
        assert key in values, key
        values[key] = np.full_like(values[key], value)
    return values


def main_volumes(plan, draws, strategy):
    """Volumes (n, T) of the main phase, left alone and of a strategy."""
    alone, treated = branch_volumes(plan, draws, strategy)
    return alone[plan.well.main_phase], treated[plan.well.main_phase]
