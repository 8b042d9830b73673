"""One page per well: history, fit, band, residuals, parameters with their correlation, and what was cleaned
and why.

Tables first (months, forecast, parameters, correlation), then the chart drawn from them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from refracmc.production.decline import FORMS
from refracmc.production.fit import Posterior
from refracmc.production.history import History, clean
from refracmc.production.stepups import find_step_ups

INK, FAINT, OURS, BAND = "#1f262d", "#68727c", "#7d2bb0", "#c9b3dc"
UNITS = {"oil": "bbl", "gas": "Mcf"}
PARAMETERS = ("rate_per_d", "decline_per_year", "b", "terminal_decline_per_year")


def forecast_tables(
    history: History, posterior: Posterior, horizon_months: int = 120
) -> dict[str, pd.DataFrame]:
    """The four tables of a page.

    months: date, volume, days_on, rate (per producing day), used, reason, fitted_p90, fitted_p50,
    fitted_p10 (rates), log_residual, step_up (ratio). forecast: month (1 = first after the history), volume
    mean, p90, p50, p10 of the month, and of the cumulative. parameters: Posterior.summary(). correlation:
    of the hyperbolic draws' parameters (logs of rates and declines), uptime and log technical EUR."""
    cleaned = clean(history)
    months = pd.DataFrame(
        {
            "date": history.dates.astype(str),
            "volume": history.volume(),
            "days_on": history.days_on,
            "rate_per_d": cleaned.rate,
            "used": cleaned.used,
            "reason": list(cleaned.reasons),
        }
    )
    fitted = posterior.diagnostics.get("fitted_log_rate")
    for k, name in enumerate(("fitted_p90", "fitted_p50", "fitted_p10")):
        months[name] = np.nan
        if fitted is not None:
            months.loc[np.asarray(posterior.diagnostics["fitted_index"]), name] = np.exp(fitted[k])
    with np.errstate(invalid="ignore", divide="ignore"):
        months["log_residual"] = np.log(months["rate_per_d"] / months["fitted_p50"])
    months["step_up"] = np.nan
    for step in find_step_ups(history):
        months.loc[step.index, "step_up"] = step.ratio
    edges = np.arange(horizon_months + 1, dtype=np.float64)
    total = posterior.cumulative(edges)
    forecast = pd.DataFrame({"month": np.arange(1, horizon_months + 1)})
    for name, values in (("volume", np.diff(total, axis=1)), ("cumulative", total[:, 1:])):
        p90, p50, p10 = np.quantile(values, [0.1, 0.5, 0.9], axis=0)
        forecast[f"{name}_mean"] = values.mean(axis=0)
        forecast[f"{name}_p90"], forecast[f"{name}_p50"], forecast[f"{name}_p10"] = p90, p50, p10
    return {
        "months": months,
        "forecast": forecast,
        "parameters": pd.DataFrame(posterior.summary()),
        "correlation": _correlation(posterior),
    }


def _correlation(posterior: Posterior) -> pd.DataFrame:
    members = posterior.form == FORMS.index("modified_hyperbolic")
    names = [*PARAMETERS, "uptime", "technical_eur"]
    columns = np.vstack(
        [posterior.slots[:, members], posterior.uptime[members], posterior.technical_eur[members]]
    )
    for k in (0, 1, 3, 5):
        columns[k] = np.log(np.maximum(columns[k], 1e-12))
    if members.sum() < 3:
        values = np.full((6, 6), np.nan)
    else:
        with np.errstate(invalid="ignore", divide="ignore"):
            values = np.corrcoef(columns)
    table = pd.DataFrame(values, columns=names)
    table.insert(0, "parameter", names)
    return table


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
        table.to_csv(path, index=False, lineterminator="\n")
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
        f"well {history.well_id}: {history.main_phase}; {segment_text(tables['months'])}; sampler: {flags}",
        fontsize=9,
        color=INK,
    )
    FigureCanvasAgg(figure)
    path = target / f"{stem}.png"
    figure.savefig(path, metadata={"Software": None})
    return [*files, path]


def segment_text(months: pd.DataFrame) -> str:
    """From which month the fit runs, and the segment the step-ups propose where it is another."""
    used = months.loc[months["used"].astype(bool), "date"]
    text = f"fitted from {used.iloc[0]}" if len(used) else "no month fitted"
    steps = months.loc[months["step_up"].notna(), "date"]
    if not len(steps):
        return f"{text}, no step-up found"
    return f"{text}, proposed segment start {steps.iloc[-1]} ({len(steps)} step-up{'s' * (len(steps) > 1)} found)"


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
    axes.set_yscale("log")
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
    members = posterior.form == FORMS.index("modified_hyperbolic")
    axes.plot(posterior.slots[1, members], posterior.slots[2, members], ".", color=OURS, ms=2, alpha=0.35)
    axes.set_xscale("log")
    axes.set_xlabel("nominal decline at the end of history (per year)")
    axes.set_ylabel("b (no unit)")
    value = float(correlation["b"].to_numpy(dtype=np.float64)[1])
    share = float(members.mean())
    axes.set_title(f"hyperbolic draws ({share:.0%}); correlation {value:.2f}", fontsize=8, color=INK)
