"""How much of what a forecast misses belongs to the area, to the year it was made in, and to the well.

    python -m benchmarks.area_effects DATA_DIR...

Every well is cut after 12, 24 and 36 months (prior_windows.py). What is missed 24 months ahead, the logit of the uptime
of a well that ran and the log of the volume at the realised uptime, follows a mixed model: slopes on what is known at
the cut, normal effects of area, of area and year, and of the well. Standard deviations by restricted likelihood, slopes
by generalised least squares (Laird & Ware 1982, Biometrics 38). Printed with and without the areas as effects: with
them the slopes hold within an area; without, each area counting by the root of its wells, they hold for a well of a new
area, whose own months are the only witness of it."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from benchmarks.field_scores import SEED, read_folders
from benchmarks.prior_windows import Window, curves, read_windows
from refracmc.production.decline import cumulative_mixture
from refracmc.production.posterior import DAYS_PER_MONTH
from refracmc.production.prior import default_prior
from refracmc.production.sampler import keyed_generator
from refracmc.production.uptime import LOG_RATE_REFERENCE, UPTIME_REFERENCE

Array = NDArray[np.float64]
Labels = NDArray[np.str_]

AHEAD = 24
DRAWS = 200


@dataclass(frozen=True)
class Effects:
    """slopes and their errors (p,); standard deviations between areas, years of an area, and wells."""

    slopes: Array
    errors: Array
    areas: float
    years: float
    wells: float


def effects(x: Array, y: Array, area: Labels, year: Labels) -> Effects:
    """The mixed model of y (n,) on x (n, p) with areas and years (n,) of them."""

    def solve(log_variance: Array) -> tuple[float, Array, Array]:
        areas, years, wells = np.exp(log_variance)
        left, right, rest, size = np.zeros((x.shape[1],) * 2), np.zeros(x.shape[1]), 0.0, 0.0
        for name in np.unique(area):
            own = area == name
            together = (year[own][:, None] == year[own][None, :]).astype(np.float64)
            root = np.linalg.cholesky(areas + years * together + wells * np.eye(own.sum()))
            white, target = np.linalg.solve(root, x[own]), np.linalg.solve(root, y[own])
            left, right = left + white.T @ white, right + white.T @ target
            rest, size = rest + float(target @ target), size + 2.0 * float(np.log(np.diag(root)).sum())
        slopes = np.linalg.solve(left, right)
        cost = 0.5 * (size + rest - float(slopes @ right) + float(np.linalg.slogdet(left)[1]))
        return cost, slopes, np.sqrt(np.diag(np.linalg.inv(left)))

    first, options = np.log([0.1, 0.1, 0.3]), {"maxfev": 200, "xatol": 0.02, "fatol": 0.01}
    found = minimize(lambda v: solve(v)[0], first, method="Nelder-Mead", options=options).x
    _, slopes, errors = solve(found)
    areas, years, wells = np.exp(0.5 * found)
    return Effects(slopes, errors, float(areas), float(years), float(wells))


def slopes_of_a_new_area(x: Array, y: Array, area: Labels) -> Array:
    """Least squares slopes (p,), each area counting by the root of its wells."""
    _, place, count = np.unique(area, return_inverse=True, return_counts=True)
    root = count[place.reshape(-1)] ** -0.25
    return np.asarray(np.linalg.lstsq(x * root[:, None], y * root, rcond=None)[0])


def missed_level(window: Window, uptime: float) -> float:
    """Log of the volume AHEAD over the median forecast at the realised uptime, without a shift of the level."""
    generator = keyed_generator(SEED, "effects", window.well, str(window.months_in))
    codes, slots, _ = curves(window, default_prior(window.phase), DRAWS, generator)
    days = np.array([AHEAD * DAYS_PER_MONTH * uptime])
    middle = float(np.median(cumulative_mixture(codes, slots, days)[:, 0]))
    return float(np.clip(np.log(max(window.volume[:AHEAD].sum(), 1.0) / middle), -1.5, 1.5))


def report(windows: Sequence[Window], phase: str) -> None:
    """Print the effects of one phase."""
    chosen = [
        w
        for w in windows
        if w.phase == phase and w.fits and w.declared(AHEAD, None) and w.realised_uptime(AHEAD) > 0
    ]
    area = np.array([w.area for w in chosen])
    year = np.array([str(w.cut_off)[:4] for w in chosen])
    uptime = np.array([w.realised_uptime(AHEAD) for w in chosen])
    cut = np.clip(uptime, 0.02, 0.98)
    state = [w.state for w in chosen]
    x = np.array(
        [
            (1.0, s.year - UPTIME_REFERENCE, s.recent - UPTIME_REFERENCE, s.log_rate - LOG_RATE_REFERENCE)
            for s in state
        ]
    )
    y = np.log(cut / (1.0 - cut))
    print(f"{phase}: {len(chosen)} cuts of {len({w.well for w in chosen})} wells, {len(set(area))} areas")
    print("  logit of uptime on (1, last 12 months, last 3, log rate):", effects(x, y, area, year))
    print("  slopes for a new area:", slopes_of_a_new_area(x, y, area).round(2))
    ran = uptime > 0.1
    level = np.array([missed_level(w, u) for w, u, kept in zip(chosen, uptime, ran, strict=True) if kept])
    print("  log of the level:", effects(np.ones((ran.sum(), 1)), level, area[ran], year[ran]), flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folders", nargs="+", type=Path)
    frame, areas = read_folders(parser.parse_args().folders)
    windows = read_windows(frame, areas, SEED)
    for phase in ("gas", "oil"):
        report(windows, phase)


if __name__ == "__main__":
    main()
