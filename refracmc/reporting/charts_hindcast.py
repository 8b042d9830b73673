"""Charts of a hindcast, drawn from its tables only."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from refracmc.reporting.pictures import write_picture
from refracmc.reporting.style import FAINT, INK, PALETTE, log_axis

OURS, OTHER = PALETTE[:2]
UNITS = {"oil": "bbl", "gas": "Mcf"}


def draw_hindcast(
    table: pd.DataFrame, baseline: pd.DataFrame, integral: pd.DataFrame, folder: Path
) -> list[Path]:
    """Write hindcast.png (calibration) and hindcast_wells.png (every well's band); returns the files."""
    used = table[table["used"].astype(bool)]
    if not len(used):
        return []
    first = Figure(figsize=(9.0, 3.6), dpi=115, layout="constrained")
    left, right = first.subplots(1, 2)
    _integral(left, integral, len(used))
    _reliability(right, used, baseline[baseline["used"].astype(bool)])
    second = Figure(figsize=(9.0, 4.2), dpi=115, layout="constrained")
    phases = sorted(set(used["phase"]))
    for axes, phase in zip(np.atleast_1d(second.subplots(1, len(phases))), phases, strict=True):
        _wells(axes, used[used["phase"] == phase], phase)
    files = []
    for figure, name in ((first, "hindcast.png"), (second, "hindcast_wells.png")):
        FigureCanvasAgg(figure)
        target = folder / name
        write_picture(figure, target)
        files.append(target)
    return files


def _integral(axes: Axes, integral: pd.DataFrame, wells: int) -> None:
    width = integral["high"] - integral["low"]
    axes.bar(
        integral["low"],
        integral["share"],
        width=width,
        align="edge",
        color=OURS,
        alpha=0.55,
        edgecolor="white",
    )
    expected = float(width.iloc[0])
    error = 2.0 * float(integral["share_se"].iloc[0])
    axes.axhspan(expected - error, expected + error, color=FAINT, alpha=0.2, linewidth=0)
    axes.axhline(expected, color=FAINT, linewidth=0.8)
    axes.set_xlabel("probability integral of the truth (share)")
    axes.set_ylabel("share of wells")
    axes.set_title(f"{wells} wells; flat is calibrated, grey band = 2 standard errors", fontsize=8, color=INK)


def _reliability(axes: Axes, used: pd.DataFrame, other: pd.DataFrame) -> None:
    levels = np.linspace(0.02, 0.98, 49)
    for rows, colour, dash, label in (
        (used, OURS, "-", "this fit"),
        (other, OTHER, (0, (5, 1.5)), "least squares"),
    ):
        if len(rows):
            distance = np.abs(2.0 * rows["pit"].to_numpy(dtype=np.float64) - 1.0)
            axes.plot(
                levels,
                [float(np.mean(distance <= x)) for x in levels],
                color=colour,
                linestyle=dash,
                label=label,
            )
    axes.plot([0, 1], [0, 1], color=FAINT, linewidth=0.8)
    axes.set_xlabel("central band (share it should hold)")
    axes.set_ylabel("share of wells it holds")
    axes.set_title("on the line is honest; below it the bands are too narrow", fontsize=8, color=INK)
    axes.legend(frameon=False, fontsize=8)


def _wells(axes: Axes, rows: pd.DataFrame, phase: str) -> None:
    rows = rows.sort_values("p50", kind="stable")
    floor = max(float(rows["p10"].max()) * 1e-4, 1.0)
    place = np.arange(len(rows))
    low, high = np.maximum(rows["p90"], floor), np.maximum(rows["p10"], floor)
    axes.vlines(place, low, high, color=OURS, alpha=0.35, linewidth=2.0, label="P90 to P10 (P90 is low)")
    axes.plot(place, np.maximum(rows["p50"], floor), ".", color=OURS, markersize=3, label="P50")
    axes.plot(place, np.maximum(rows["actual"], floor), "_", color=INK, markersize=5, label="truth")
    log_axis(axes, "y")
    axes.set_xlabel("wells, by their P50 (number); zero is drawn at the foot")
    axes.set_ylabel(f"{phase} of the hidden months ({UNITS[phase]})")
    axes.legend(frameon=False, fontsize=7, loc="upper left")
