"""Charts of `refracmc job` alone: distributions of days and cost, and the build-up of the mean cost.

Same rules as :mod:`refracmc.reporting.charts_value`: tables in, a figure out, or None without rows.
"""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np
from matplotlib.figure import Figure

from refracmc.reporting import charts_job, charts_reach, charts_sleeves, charts_timeline, style
from refracmc.reporting.charts import ChartKind
from refracmc.reporting.numbers import MILLION, significant
from refracmc.reporting.tables import ReportData, build_report_data
from refracmc.reporting.words import footer, has_date, strategy_words


def of_strategy(data: ReportData, strategy: str) -> ReportData:
    """The same tables with the rows of one strategy, where a table tells strategies apart."""
    tables = {
        key: frame[(frame["strategy"] == strategy).to_numpy(dtype=bool)] if "strategy" in frame else frame
        for key, frame in data.tables.items()
    }
    made = build_report_data(data.facts, {key: frame for key, frame in tables.items() if len(frame)}, False)
    return replace(data, tables=MappingProxyType(dict(made.tables)), places=made.places)


def distributions(data: ReportData, well: str) -> Figure | None:
    """Share of jobs above so many days and so much cost: each order at the first date, and each trigger."""
    rows = data.of_well("job_percentiles", well)
    rows = rows[rows["value"].notna().to_numpy(dtype=bool)]
    if rows.empty:
        return None
    shown = set(data.of_well("job_parts", well)["strategy"])
    names = [n for n in dict.fromkeys(rows["strategy"]) if n in shown or not has_date(str(n))]
    orders = list(dict.fromkeys(str(name).rpartition("@")[0] for name in names))
    looks = {}
    for name in names:
        place = orders.index(str(name).rpartition("@")[0])
        colour = style.PALETTE[place] if place < len(style.PALETTE) else style.FAINT
        looks[name] = colour, style.DASHES[place % len(style.DASHES)] if name in shown else (0, (1, 1.6))
    marks = [
        style.Mark(style.shorten(strategy_words(str(name)), 38), colour, dash=dash)
        for name, (colour, dash) in looks.items()
    ]
    more = 0.19 * max(style.legend_lines(marks) - 2, 0)
    figure = style.frame(
        f"{well}: days and cost of the job",
        footer(
            data,
            "standard errors "
            + " and ".join(
                f"up to {significant(float((part['se'] / scale).max()), 2)} {unit}"
                for part, scale, unit in (
                    (rows[rows["measure"] == "days"], 1.0, "days"),
                    (rows[rows["measure"] == "cost"], MILLION, "US$ million"),
                )
            ),
            money=False,
            extra="Each curve is the share of jobs above the value, at 100 %, service-cost index included; dots "
            "are P90, P50 and P10. Of a trigger: the trials in which the job starts.",
        ),
        4.3 + more,
    )
    for k, (measure, scale, label) in enumerate(
        (("days", 1.0, "Days shut in"), ("cost", MILLION, "Cost of the job, US$ million"))
    ):
        axes = style.panel(figure, (0.65 + 4.3 * k, 0.95, 0.2 + 4.3 * (1 - k), 0.98 + more))
        ends: list[float] = []
        for name in names:
            mine = rows[((rows["strategy"] == name) & (rows["measure"] == measure)).to_numpy(dtype=bool)]
            colour, dash = looks[name]
            x, y = mine["value"].to_numpy() / scale, mine["exceedance_percent"].to_numpy()
            told = np.isin(y, (90.0, 50.0, 10.0))
            axes.plot(x, y, color=colour, ls=dash, lw=1.6)
            axes.plot(x[told], y[told], ls="", marker="o", ms=3.6, color=colour)
            ends += [float(x.min()), float(x.max())]
        style.value_axis(axes, "x", *style.padded(ends, 0.04))
        style.set_ticks(axes, "y", (0, 10, 50, 90, 100), ("0", "P10", "P50", "P90", "100"))
        axes.set_ylim(0, 100)
        style.name_axis(axes, "x", label)
        if k == 0:
            style.name_axis(axes, "y", "Jobs above the value, %")
    style.legend_row(figure, marks)
    return figure


def cost(data: ReportData, well: str) -> Figure | None:
    """Build-up of the mean cost of one strategy, the first of the table."""
    rows = data.of_well("job_cost", well)
    if rows.empty:
        return None
    chosen = str(rows["strategy"].iloc[0])
    total = (
        data.of_well("job_strategies", well).query("strategy == @chosen and measure == 'cost_usd'").iloc[0]
    )
    return charts_job.build_up(
        data, well, chosen, rows[rows["strategy"] == chosen], float(total["mean"]), float(total["se"])
    )


WHOLE_CHARTS = (
    ChartKind("distributions", "Share of jobs above so many days and so much cost.", distributions),
    ChartKind("spread", "Mean days and cost by part, with P90, P50 and P10.", charts_sleeves.job_spread),
    ChartKind(
        "reach",
        "Force at the tool by depth, and the share of trials in which it is enough.",
        charts_reach.reach,
    ),
    ChartKind("stress", "Stress along the lateral as each order proceeds.", charts_sleeves.stress_state),
)
"""Charts of all orders of a well together: <chart>.png and .svg."""
ORDER_CHARTS = (
    ChartKind(
        "timeline", "Depth of the coiled tubing by the hour, planned and simulated.", charts_timeline.timeline
    ),
    ChartKind("sleeves", "State of every sleeve by the hour, in that trial.", charts_sleeves.sleeve_map),
    ChartKind("cost", "How the mean cost builds up.", cost),
    ChartKind("failures", "Where failures cost most.", charts_sleeves.failures),
)
"""Charts of one order at the first date: <chart>-<order>.png and .svg."""
