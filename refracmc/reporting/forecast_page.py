"""Page of a forecast: the tables of one well as files, and the chart drawn from them and from the posterior."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from refracmc.csv_text import csv_text
from refracmc.decisions.forecast_tables import forecast_tables, segment_text, taught_text, uptime_text
from refracmc.production.fit import Posterior
from refracmc.production.forms import form_code
from refracmc.production.history import History
from refracmc.reporting.pictures import write_picture
from refracmc.reporting.style import FAINT, INK, PALETTE, drawing, log_axis, wrap
from refracmc.whole_file import write_whole

OURS, BAND = PALETTE[0], "#c9b3dc"
UNITS = {"oil": "bbl", "gas": "Mcf"}


@drawing()
def write_forecast_page(
    history: History, posterior: Posterior, folder: str | Path, horizon_months: int = 120
) -> list[Path]:
    """Write forecast_<well>_{months,forecast,parameters,correlation}.csv and forecast_<well>.png; returns
    the files."""
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    stem = f"forecast_{re.sub(r'[^A-Za-z0-9_-]', '_', history.well_id)}"
    tables = forecast_tables(history, posterior, horizon_months)
    files = []
    for name, table in tables.items():
        path = target / f"{stem}_{name}.csv"
        write_whole(path, csv_text(table))
        files.append(path)
    figure = Figure(figsize=(9.0, 6.4), dpi=115, layout="constrained")
    axes = figure.subplots(2, 2)
    unit = UNITS[history.main_phase]
    _rates(axes[0, 0], tables["months"], unit)
    _residuals(axes[0, 1], tables["months"])
    _volumes(axes[1, 0], tables, unit)
    _parameters(axes[1, 1], posterior, tables["correlation"])
    flags = "; ".join(posterior.diagnostics.get("flags", [])) or "no flags"
    figure.suptitle(
        f"well {history.well_id}: {history.main_phase}; {segment_text(tables['months'])}; sampler: {flags}\n"
        f"{wrap(uptime_text(posterior), 130)}\n{wrap(taught_text(posterior), 130)}",
        fontsize=9,
        color=INK,
    )
    FigureCanvasAgg(figure)
    path = target / f"{stem}.png"
    write_picture(figure, path)
    return [*files, path]


def _dates(table: pd.DataFrame) -> np.ndarray[tuple[int, ...], np.dtype[np.datetime64]]:
    return table["date"].to_numpy().astype("datetime64[M]").astype("datetime64[D]")


def _rates(axes: Axes, months: pd.DataFrame, unit: str) -> None:
    dates = _dates(months)
    used = months["used"].to_numpy(dtype=bool)
    axes.plot(dates[~used], months["rate_per_d"][~used], "o", mfc="none", mec=FAINT, ms=3, label="set aside")
    axes.plot(dates[used], months["rate_per_d"][used], ".", color=INK, ms=4, label="used")
    axes.fill_between(
        dates[used], months["fitted_p90"][used], months["fitted_p10"][used], color=BAND, alpha=0.7
    )
    axes.plot(dates[used], months["fitted_p50"][used], color=OURS, label="fit, P90 to P10")
    for k in np.flatnonzero(months["step_up"].notna()):
        axes.axvline(dates[k], color=FAINT, linestyle=(0, (3, 3)), linewidth=0.9)
    log_axis(axes, "y")
    axes.set_ylabel(f"rate ({unit} per producing day)")
    axes.set_title("history and fit; dashed: step-ups", fontsize=8, color=INK)
    axes.legend(frameon=False, fontsize=7)
    axes.tick_params(axis="x", labelrotation=30)


def _residuals(axes: Axes, months: pd.DataFrame) -> None:
    rows = months[months["used"].to_numpy(dtype=bool)]
    axes.plot(_dates(rows), rows["log_residual"], ".-", color=OURS, linewidth=0.6, ms=4)
    axes.axhline(0.0, color=FAINT, linewidth=0.8)
    axes.set_ylabel("log residual (log of the ratio)")
    aside = int((~months["used"].to_numpy(dtype=bool)).sum())
    axes.set_title(f"residuals; {aside} months set aside, reasons in the table", fontsize=8, color=INK)
    axes.tick_params(axis="x", labelrotation=30)


def _volumes(axes: Axes, tables: Mapping[str, pd.DataFrame], unit: str) -> None:
    months, forecast = tables["months"], tables["forecast"]
    n = len(months)
    axes.plot(np.arange(1, n + 1), months["volume"], color=INK, linewidth=0.9, label="history")
    ahead = n + forecast["month"].to_numpy()
    axes.fill_between(ahead, forecast["volume_p90"], forecast["volume_p10"], color=BAND, label="P90 to P10")
    axes.plot(ahead, forecast["volume_p50"], color=OURS, label="P50")
    axes.plot(ahead, forecast["volume_mean"], color=OURS, linestyle=(0, (3, 3)), linewidth=0.9, label="mean")
    axes.set_xlabel("month from first production")
    axes.set_ylabel(f"{unit} per calendar month")
    axes.set_title("forecast, downtime included (percentiles of each month)", fontsize=8, color=INK)
    axes.legend(frameon=False, fontsize=7)


def _parameters(axes: Axes, posterior: Posterior, correlation: pd.DataFrame) -> None:
    members = posterior.form == form_code("modified_hyperbolic")
    axes.plot(posterior.slots[1, members], posterior.slots[2, members], ".", color=OURS, ms=2, alpha=0.35)
    log_axis(axes, "x")
    axes.set_xlabel("nominal decline at the end of history (per year)")
    axes.set_ylabel("b (no unit)")
    value = float(correlation["b"].to_numpy(dtype=np.float64)[1])
    share = float(members.mean())
    axes.set_title(f"hyperbolic draws ({share:.0%}); correlation {value:.2f}", fontsize=8, color=INK)
