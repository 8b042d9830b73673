"""Settings of Matplotlib for the charts that it draws itself (forecast, hindcast): nothing of the user's own."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl

from refracmc.reporting.style import FAINT, INK

_RC: dict[str, Any] = {
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 8.5,
    "axes.edgecolor": FAINT,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "text.color": INK,
    "text.parse_math": False,
    "text.hinting": "none",
    "path.simplify": True,
    "axes.unicode_minus": True,
}


@contextmanager
def drawing() -> Iterator[None]:
    """Matplotlib's defaults plus the house style while the block runs; whatever was set before comes back."""
    skip = {"backend", "backend_fallback", "interactive", "toolbar", "timezone", "date.epoch", "webagg.port"}
    rc: dict[Any, Any] = {key: value for key, value in mpl.rcParamsDefault.items() if key not in skip}
    rc.update(_RC)
    with mpl.rc_context(rc):
        yield
