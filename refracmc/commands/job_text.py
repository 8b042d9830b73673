"""The report of `refracmc job` as lines for a reader: a page a well, and every step and strategy where asked for."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

WIDTH = 120
"""Columns of the page."""
_FAILED = {
    "close_failed": "not closed",
    "open_failed": "not opened",
    "reclose_failed": "not reclosed",
    "reopen_failed": "not reopened",
    "screenouts": "screenouts",
    "trips": "trips",
    "tries": " tries",
}
_END = (
    "P90 is the low and P10 the high percentile (exceedance). Effective: mean effectiveness of the stages planned, of "
    "a bullhead or liner of all sleeves that can be treated."
)


def job_text(content: dict[str, Any], steps: bool = False) -> str:
    """The report of a content (its keys: `refracmc explain json`); steps: with every step and every strategy."""
    lines: list[str] = []
    for well in content["wells"]:
        lines += [*_page(well), ""]
        if steps:
            lines += [*_steps(well), *_strategies(well["strategies"]), ""]
    if not steps:
        lines.append("--steps prints every step of each order, and every strategy.")
    return "\n".join([*lines, *textwrap.wrap(f"{_END} {content['caution']}", WIDTH)])


def _page(well: dict[str, Any]) -> list[str]:
    """Plans, days and cost, what went wrong, and where time and money go, at the first date of each order."""
    dated = [row for row in well["strategies"] if _is_dated(row)]
    first = [row for row in dated if row["date"] == dated[0]["date"]]
    shown = first + [row for row in well["strategies"] if not _is_dated(row)]
    return [
        f"{well['well']}: {well['sleeves']} sleeves" + _beyond(well),
        "",
        *_plans(well["orders"]),
        *_exposed(well["orders"]),
        "",
        *_strategies(shown),
        *_other_dates(dated, first),
        "",
        *_failures(shown),
        "",
        *_means(first[0], "mean_days_by_kind", "Mean days", 1.0, 1),
        *_means(first[0], "mean_cost_parts_usd", "Mean cost, US$ thousand gross", 1e3, 0),
    ]


def _is_dated(row: Mapping[str, Any]) -> bool:
    return str(row["strategy"]).endswith(f"@{row['date']}")


def _beyond(well: Mapping[str, Any]) -> str:
    """How many sleeves the tubing does not reach; nothing where it reaches all."""
    count = well["sleeves_beyond_reach"]
    return f", {count} of them beyond the reach of the tubing: they stay as they are" if count else ""


def _plans(orders: Sequence[Mapping[str, Any]]) -> list[str]:
    """A line an order: stages, shifts, travel, days."""
    kinds = list(orders[0]["shifts"])
    head = "".join(f"{kind:>9}" for kind in kinds)
    lines = [f"  {'plan':<34}{'stages':>8}{head}{'travel ft':>12}{'days if all works':>19}"]
    for order in orders:
        shifts = "".join(f"{order['shifts'][kind]:>9}" for kind in kinds)
        lines.append(
            f"  {order['order']:<34}{order['stages']:>8}{shifts}{order['travel_ft']:>12,.0f}"
            f"{order['planned_days']:>19.1f}"
        )
    return lines


def _exposed(orders: Sequence[Mapping[str, Any]]) -> list[str]:
    """Sleeves that stand open or leak above stages by the plan, with the orders for which that is so."""
    found: dict[str, list[str]] = {}
    for order in orders:
        for sleeve, stages in order["exposed_stages"].items():
            text = f"sleeve {sleeve} stands open or leaks, and takes fluid of {stages} stages below it"
            found.setdefault(text, []).append(order["order"])
    whole = len(orders)
    lines = []
    for text, names in found.items():
        which = "every plan" if len(names) == whole else ", ".join(names)
        lines += textwrap.wrap(f"{which}: {text}", WIDTH, initial_indent="  ", subsequent_indent="    ")
    return lines


def _strategies(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """A line a strategy: percentiles of days and cost, mean share of stages that work."""
    head = ("days P90/P50/P10", "cost US$ million gross P90/P50/P10", "effective")
    lines = [f"  {'strategy':<34}{head[0]:>22}{head[1]:>36}{head[2]:>12}"]
    for row in rows:
        days, cost = row["days"], row["cost_usd"]
        if days["mean"] is None:
            lines.append(f"  {row['strategy']:<34}  the trigger fires in no trial")
            continue
        lines.append(
            f"  {row['strategy']:<34}"
            + f"{days['p90']:.1f} / {days['p50']:.1f} / {days['p10']:.1f}".rjust(22)
            + f"{cost['p90'] / 1e6:.2f} / {cost['p50'] / 1e6:.2f} / {cost['p10'] / 1e6:.2f}".rjust(36)
            + f"{row['stages_effective_fraction']['mean']:.1%}".rjust(12)
        )
        if not _is_dated(row):
            lines.append(f"    starts in {row['started_fraction']:.1%} of trials, median {row['date']}")
    return lines


def _other_dates(dated: Sequence[Mapping[str, Any]], first: Sequence[Mapping[str, Any]]) -> list[str]:
    """By how much the medians of the last date lie off those of the first, lowest and highest of the orders."""
    if len(dated) == len(first):
        return []
    last = {row["order"]: row for row in dated}
    pairs = [(row, last[row["order"]]) for row in first]
    days = [round(then["days"]["p50"] - now["days"]["p50"], 1) + 0.0 for now, then in pairs]  # no minus zero
    cost = [round((then["cost_usd"]["p50"] - now["cost_usd"]["p50"]) / 1e6, 2) + 0.0 for now, then in pairs]
    return [
        f"  P50 at the last date, {dated[-1]['date']}, against these: {min(days):+.1f} to {max(days):+.1f} days, "
        f"{min(cost):+.2f} to {max(cost):+.2f} million US$ gross"
    ]


def _failures(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """A line a strategy: what did not work, in means a job; one line for sizes of a job with the same numbers."""
    head = "".join(f" {text}" for text in _FAILED.values())
    found: dict[tuple[str, str], str] = {}
    for row in rows:
        if row["days"]["mean"] is None:
            continue
        counts = "".join(f"{row['mean_counts'][name]:>{len(text) + 1}.2f}" for name, text in _FAILED.items())
        ends = f"{row['called_off_fraction']:>6.1%}{row['well_lost_fraction']:>6.1%}"
        order, _, _ = str(row["order"]).partition("+")
        when = str(row["strategy"]).rpartition("@")[2]
        same = (f"{order}@{when}", counts + ends)
        found[same] = f"{order}@{when}" if same in found else str(row["strategy"])
    lines = [f"  {'what went wrong, mean per job':<34}{head}{'off':>6}{'lost':>6}"]
    return lines + [f"  {name:<34}{numbers}" for (_, numbers), name in found.items()]


def _means(row: Mapping[str, Any], key: str, text: str, unit: float, digits: int) -> list[str]:
    """The parts of a mean of one strategy that are more than nothing, as a sentence."""
    parts = {name: value / unit for name, value in row[key].items() if value}
    told = ", ".join(f"{name.replace('_', ' ')} {value:,.{digits}f}" for name, value in parts.items())
    line = f"{text} of {row['strategy']}, {sum(parts.values()):,.{digits}f}: {told}"
    return textwrap.wrap(line, WIDTH, initial_indent="  ", subsequent_indent="    ")


def _steps(well: Mapping[str, Any]) -> list[str]:
    """Every planned step of each order."""
    lines: list[str] = []
    for order in well["orders"]:
        lines += [
            f"  {order['order']}",
            f"    {'step':>4} {'action':<15}{'sleeve':>7}{'depth ft':>10}{'hours':>8}",
        ]
        for row in order["steps"]:
            sleeve = "" if row["sleeve"] is None else row["sleeve"]
            lines.append(
                f"    {row['step']:>4} {row['action']:<15}{sleeve:>7}{row['depth_ft']:>10,.0f}{row['hours']:>8.2f}"
            )
        lines.append("")
    return lines
