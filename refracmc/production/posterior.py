"""The posterior of a well's decline: the draws the engine forecasts with, and the refusal that stands for
none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.production.decline import cumulative_mixture
from refracmc.production.fit_secondary import Ratio
from refracmc.production.forms import FORMS, form_of

Array = NDArray[np.float64]

DAYS_PER_MONTH = 30.4375
TECHNICAL_MONTHS = 360


class FitRefused(ValueError):
    """A history no decline can be fitted to; the message is the reason."""


@dataclass(frozen=True)
class Posterior:
    """Draws of the forecast, sorted ascending by technical EUR; K draws.

    form (K,) int8, index into forms.FORMS; slots (4, K), clock at the end of history in producing days;
    uptime (K,), mean producing share of calendar time ahead, exactly 0 where the well stands idle for good;
    running_uptime (K,): the uptime it would run at if it ran, for a stream a job brings (None: as uptime);
    secondary: phase -> (r_now, r_final, x_change), each (K,); technical_eur (K,): history plus 360 months
    at the draw's uptime [main phase unit]; diagnostics: r_hat, acceptance, ess, form weights, flags (list
    of text, empty when all is well)."""

    form: NDArray[np.int8]
    slots: Array
    uptime: Array
    secondary: Mapping[str, Ratio]
    technical_eur: Array
    diagnostics: Mapping[str, Any]
    running_uptime: Array | None = None

    def cumulative(self, months: Array) -> Array:
        """Main-phase volume (K, H) within the next `months` (H,) calendar months of 30.4375 days."""
        days = DAYS_PER_MONTH * np.atleast_1d(np.asarray(months, dtype=np.float64))
        return cumulative_mixture(self.form, self.slots, days, self.uptime)

    def summary(self) -> list[dict[str, Any]]:
        """One row per form and parameter: weight of the form, P90, P50, P10 (exceedance) and mean."""
        rows: list[dict[str, Any]] = []
        for code, name in enumerate(FORMS):
            members = self.form == code
            if members.any():
                for slot, values in zip(form_of(name).slots, self.slots[:, members], strict=True):
                    rows.append(_row(name, float(members.mean()), slot.name, values))
        rows.append(_row("all", 1.0, "uptime", self.uptime))
        rows.append(_row("all", 1.0, "technical_eur", self.technical_eur))
        return rows


def _row(form: str, weight: float, name: str, values: Array) -> dict[str, Any]:
    p90, p50, p10 = (float(v) for v in np.quantile(values, [0.1, 0.5, 0.9]))
    return {"form": form, "weight": weight, "parameter": name, "mean": float(values.mean())} | {
        "p90": p90,
        "p50": p50,
        "p10": p10,
    }
