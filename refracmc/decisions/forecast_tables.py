"""Tables of one well's forecast: months and what was cleaned, the forecast, its parameters and their correlation."""

from __future__ import annotations

import numpy as np
import pandas as pd

from refracmc.production.fit import Posterior
from refracmc.production.forms import form_code, form_of
from refracmc.production.history import History, clean
from refracmc.production.stepups import find_step_ups


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
    members = posterior.form == form_code("modified_hyperbolic")
    names = [*(slot.name for slot in form_of("modified_hyperbolic").slots), "uptime", "technical_eur"]
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


def uptime_text(posterior: Posterior) -> str:
    """Uptime ahead beside the well's own, and the chance to stand idle, own and learned share apart."""
    told = posterior.diagnostics
    idle, learned = told["idle_chance"], told["idle_chance_learned"]
    return (
        f"uptime ahead {told['uptime_ahead']:.2f}, its own of the last 12 months {told['uptime_own_year']:.2f}; "
        f"{told['uptime_running']:.2f} if it runs, learned from many wells; stands idle for good in {idle:.1%} "
        f"of draws ({learned:.1%} learned, {idle - learned:.1%} for its own {told['months_shut']:.0f} months shut in)"
    )


def taught_text(posterior: Posterior) -> str:
    """Which wells moved the prior of the fit, and how much."""
    return f"taught by {posterior.diagnostics['taught']}"


def segment_text(months: pd.DataFrame) -> str:
    """From which month the fit runs, and the segment the step-ups propose where it is another."""
    used = months.loc[months["used"].astype(bool), "date"]
    text = f"fitted from {used.iloc[0]}" if len(used) else "no month fitted"
    steps = months.loc[months["step_up"].notna(), "date"]
    if not len(steps):
        return f"{text}, no step-up found"
    return f"{text}, proposed segment start {steps.iloc[-1]} ({len(steps)} step-up{'s' * (len(steps) > 1)} found)"
