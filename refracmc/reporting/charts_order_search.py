"""Chart of an order search: value against days of every order tried, the judged ones with their names."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from refracmc.decisions.order_search import Search
from refracmc.job.orders import NAMED_ORDERS
from refracmc.reporting import style
from refracmc.reporting.captions import MILLION_WI, spoken
from refracmc.reporting.charts import write_pictures
from refracmc.reporting.rounding import MILLION
from refracmc.sampling.streams import BLOCK_SIZE


def order_front(search: Search) -> Figure:
    """Two panels with the value in common: against mean days, and against the exposure to failed recloses."""
    largest = max(one.gain_se_usd for one in search.judged)
    figure = style.frame(
        f"{search.well}: stage orders for a job in {search.date}, {len(search.tried)} tried",
        f"Small dots: orders on the {BLOCK_SIZE} trials of the search; marks: judged on other trials, standard error "
        f"of their differences up to US$ {largest / 1000:,.0f} thousand WI. Exposure: expected stages treated below a "
        "sleeve that failed to reclose. A search, not a proof of the best order.",
        4.3,
    )
    value = np.array([found.value_usd for found in search.tried]) / MILLION
    judged = np.array([one.value_usd for one in search.judged]) / MILLION
    low, high = style.padded([*value, *judged])
    colours = dict(zip(NAMED_ORDERS, style.PALETTE, strict=False))
    for k, (name, tried, kept) in enumerate(
        (
            ("Mean days shut in", [f.days for f in search.tried], [o.days for o in search.judged]),
            ("Exposure, stages", [f.exposure for f in search.tried], [o.exposure for o in search.judged]),
        )
    ):
        axes = style.panel(figure, (0.85 + 4.15 * k, 0.95, 0.25 + 4.15 * (1 - k), 0.85))
        axes.plot(tried, value, ls="", marker="o", ms=2.2, color=style.BACKGROUND_CURVE, zorder=2)
        for one, x, y in zip(search.judged, kept, judged, strict=True):
            named = one.found.label in colours
            colour = colours.get(one.found.label, style.INK)
            axes.plot(
                [x], [y], ls="", marker="D" if named else "o", ms=6 if named else 4, color=colour, zorder=4,
                mfc=colour if one.on_front else "white", mew=1.4,
            )  # fmt: skip
        style.value_axis(axes, "x", *style.padded([*tried, *kept]), most=6)
        style.value_axis(axes, "y", low, high, most=7, labelled=k == 0)
        style.name_axis(axes, "x", name)
        if k == 0:
            style.name_axis(axes, "y", f"Mean incremental NPV, {MILLION_WI}", 0.5)
    marks = [style.Mark(spoken(name), colours[name], "dot", marker="D") for name in NAMED_ORDERS]
    marks += [
        style.Mark("found by the search", style.INK, "dot"),
        style.Mark("hollow: another order is better in all three", style.INK, "ring"),
    ]
    style.legend_row(figure, marks)
    return figure


def draw_order_search(search: Search, stem: Path) -> None:
    """Write the chart of a search as STEM.png and STEM.svg."""
    with style.drawing():
        write_pictures(order_front(search), stem)
