"""The section of one well on the page: its charts, each followed by the tables behind it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from refracmc.measures import NEVER, SUMMARY_MEASURES, USD_GROSS, USD_WI
from refracmc.reporting import page_scenarios
from refracmc.reporting.captions import MILLION_GROSS, MILLION_WI, split_strategy, spoken, strategy_words
from refracmc.reporting.page import Block, DrawnChart, Note, Section, Table
from refracmc.reporting.page_columns import (
    PERCENTS,
    WellTable,
    amount,
    carried_out,
    million,
    number,
    percentiles,
    share,
    strategy,
    tens,
    text,
    to_ten,
    whole_percent,
    words,
)
from refracmc.reporting.rounding import MILLION, MISSING, fixed, significant, to_error, with_error
from refracmc.reporting.tables import NOTHING, ReportData

SCREEN = "A screen, not a design; see the cautions at the end of the page."


def _by_date_and_order(data: ReportData, well: str) -> Table | None:
    """Mean incremental NPV, dates down and orders across."""
    rows = data.of_well("timing", well)
    if rows.empty:
        return None
    orders = list(dict.fromkeys(rows["order"]))
    dates = sorted(set(rows["date"]))
    cells = {
        (d, o): million(m, s)
        for d, o, m, s in zip(rows["date"], rows["order"], rows["mean_usd"], rows["se_usd"], strict=True)
    }
    best = rows.iloc[int(rows["mean_usd"].to_numpy().argmax())]
    return Table(
        f"Mean incremental NPV by refrac date and stage order, {MILLION_WI}",
        ("Refrac date", *(spoken(str(o)) for o in orders)),
        tuple((d, *(cells.get((d, o), MISSING) for o in orders)) for d in dates),
        strong=frozenset({(dates.index(best["date"]), 1 + orders.index(best["order"]))}),
        note="Doing nothing is 0 by definition. The highest mean is bold. ± is one standard error; all strategies "
        "share their trials, so differences between them are known better than the values.",
    )


_TRIGGERS = WellTable(
    "triggers",
    f"Incremental NPV of dates set by triggers over doing nothing, {MILLION_WI}",
    (
        strategy("Strategy"),
        amount("Mean", "mean_usd", "se_usd"),
        *percentiles("{}_usd", "se_usd"),
        share("Chance of loss", "p_loss", "p_loss_se"),
        amount("Against the best fixed date", "gap_usd", "gap_se_usd"),
        ("that is", lambda row: split_strategy(str(row["against"]))[1]),
        carried_out("Carried out"),
        text("10 % started by", "early_month"),
        text("Half by", "median_month"),
        text("90 % by", "late_month"),
    ),
    note="The date differs by trial; trials without a job count as 0. Months are those of the jobs carried out.",
)
_ORDERS = WellTable(
    "orders",
    f"Stage orders, each at its best date, {MILLION_WI}",
    (
        words("Order", "order"),
        text("Best date", "date"),
        amount("Incremental NPV, mean", "mean_usd", "se_usd"),
        amount("Against the best order", "gap_usd", "gap_se_usd"),
        *percentiles("{}_usd", "se_usd"),
        share("Stages effective", "effective_share", "effective_share_se"),
        ("Extra shifts", lambda row: significant(float(row["extra_shifts"]))),
    ),
)
_ORDER_JOBS = WellTable(
    "orders",
    f"Days and cost of the job by order, {MILLION_GROSS}",
    (
        words("Order", "order"),
        carried_out("Carried out"),
        amount("Days shut in, mean", "job_days", "job_days_se", 1.0),
        *percentiles("job_days_{}", "job_days_se", 1.0),
        amount("Cost, mean", "job_cost_usd", "job_cost_se_usd"),
        *percentiles("job_cost_{}_usd", "job_cost_se_usd"),
    ),
    note="Days and cost are of the trials in which the job is carried out.",
)
_UPTIME = WellTable(
    "uptime",
    "Uptime ahead, and the chance that the well stands idle for good from the next month on",
    (
        whole_percent("Own, last 12 months", "own_year"),
        whole_percent("Own, last 3 months", "own_quarter"),
        number("Own months shut in at the end", "months_shut", 0),
        whole_percent("Ahead if it runs (learned)", "running"),
        whole_percent("Idle (learned)", "idle_chance_learned"),
        whole_percent("Idle (its own months shut in)", "idle_chance_own"),
        whole_percent("Ahead, idle as 0", "ahead"),
    ),
    note="Learned: what many wells of such a rate, age and last year did next. fit.idle_hurdle = false leaves the "
    "chance to stand idle out.",
)
_DRIVERS = WellTable(
    "drivers",
    "Variance shares behind the chart of drivers",
    (
        words("Of", "target"),
        words("Group of inputs", "group"),
        ("Alone", lambda row: with_error(row["first"], row["first_ci"] / 1.96)),
        ("With interactions", lambda row: with_error(row["total"], row["total_ci"] / 1.96)),
    ),
    left=2,
    collapsed=True,
)
_TORNADO = WellTable(
    "tornado",
    f"Mean incremental NPV behind the chart of single inputs, {MILLION_WI}",
    (
        text("Input", "input"),
        text("Unit", "unit"),
        ("Low", lambda row: significant(row["low_input"])),
        ("High", lambda row: significant(row["high_input"])),
        amount("Mean at low", "low_mean_usd", "low_se_usd"),
        amount("Mean at high", "high_mean_usd", "high_se_usd"),
    ),
    left=2,
    collapsed=True,
)
_PRESSURE = WellTable(
    "pressure",
    "Pressure screen: treating pressure at the surface, deepest stage, against what is allowed, psi",
    (
        text("Limit", "limit_name"),
        share("Trials within", "inside_share", "inside_share_se"),
        *tens("Asked", "asked_{}_psi"),
        *tens("Allowed", "borne_{}_psi"),
    ),
    note=f"{SCREEN} Allowed: internal yield of the worn casing and collapse of the tubing over their factors, and the "
    "wellhead's rating.",
)
_REACH = WellTable(
    "reach",
    "Force at the tool of the coiled tubing by sleeve, lbf",
    (
        text("Sleeve", "sleeve"),
        number("Depth, ft", "depth_ft", 0),
        *tens("Push", "push_{}_lbf"),
        *tens("Pull", "pull_{}_lbf"),
        share("Trials with enough", "reached_share", "reached_share_se"),
        ("Planned", lambda row: "yes" if row["planned"] else "beyond reach"),
    ),
    collapsed=True,
)
_TIMELINE = WellTable(
    "timeline",
    "The job step by step",
    (
        text("Scenario", "scenario"),
        text("Step", "step"),
        words("Action", "action"),
        text("Sleeve", "sleeve"),
        number("Depth, ft", "depth_ft", 0),
        number("From, h", "start_hour", 1),
        number("To, h", "end_hour", 1),
        text("Outcome", "outcome"),
    ),
    collapsed=True,
)


def _cost(data: ReportData, well: str) -> Table | None:
    """Mean cost by part, strategies across."""
    rows = data.of_well("cost", well)
    if rows.empty:
        return None
    names = list(dict.fromkeys(rows["strategy"]))[:8]
    columns = (rows[name] for name in ("part", "strategy", "mean_usd", "se_usd", "share"))
    cells = {
        (p, n): f"{million(m, s)} ({fixed(100 * q, 1)} %)" for p, n, m, s, q in zip(*columns, strict=True)
    }
    return Table(
        f"Mean cost by part, {MILLION_GROSS} (share of the total)",
        ("Part", *(strategy_words(str(n)) for n in names)),
        tuple(
            (spoken(str(p)), *(cells.get((p, n), MISSING) for n in names))
            for p in dict.fromkeys(part for part, _ in cells)
        ),
        collapsed=True,
    )


def _timeline(data: ReportData, well: str) -> Table | None:
    """The job step by step, its strategy and its steps in the caption."""
    table = _TIMELINE(data, well)
    if table is None:
        return None
    strategy_name = str(data.of_well("timeline", well)["strategy"].iloc[0])
    caption = f"{table.caption}, {strategy_words(strategy_name)}: {len(table.rows)} steps"
    return replace(table, caption=caption)


def _reach(data: ReportData, well: str) -> Table | None:
    """Force at the tool by sleeve, the force that is needed in the note."""
    table = _REACH(data, well)
    if table is None:
        return None
    first = data.of_well("reach", well).iloc[0]
    needed = " / ".join(to_ten(first[f"needed_{p}_lbf"]) for p in PERCENTS)
    note = (
        f"Force that shifts a sleeve: {needed} lbf (P90 / P50 / P10). {SCREEN} Sleeves beyond reach stay as "
    )
    return replace(table, note=f"{note}they are.")


def _measure(found: Sequence[float], scale: float, percentiles: bool) -> str:
    """Mean with error, the percentiles, and the share of trials in which it is undefined; found: in that order.

    Where a measure has no mean, the percentiles stand alone.
    """
    mean, se, *triple, undefined = found
    if undefined >= 1:
        return MISSING
    several = percentiles and not all(math.isnan(value) for value in triple)
    shown = "" if several and math.isnan(mean) else with_error(mean, se, scale)
    if several:
        texts = [NEVER if value == math.inf else to_error(value, se, scale) for value in triple]
        shown = f"{shown} ({' / '.join(texts)})" if shown else " / ".join(texts)
    if undefined > 0:
        shown += f", undefined {fixed(100 * undefined, 1)} %"
    return shown


def _summary(data: ReportData, well: str) -> Table:
    """All measures of all strategies of one well, strategies down and measures across."""
    rows = data.of_well("summary", well)
    present = set(rows["measure"])
    measures = [m for m in SUMMARY_MEASURES if m in present]
    cells: dict[tuple[str, str], str] = {}
    units: dict[str, str] = {}
    numbers = rows[["mean", "se", *PERCENTS, "undefined_share"]].to_numpy(dtype=float).tolist()
    labels = (rows[name].to_numpy(dtype=object) for name in ("strategy", "measure", "unit"))
    for name, measure, unit, found in zip(*labels, numbers, strict=True):
        money = unit in (USD_WI, USD_GROSS)
        scale = MILLION if money else 1.0
        units[measure] = unit.replace("US$", "US$ million") if money else unit
        cells[name, measure] = _measure(found, scale, measure not in ("p_loss", "cvar"))
    names = [str(n) for n in rows["strategy"].unique()]
    head = tuple(spoken(m) + (f", {units[m]}" if units[m] not in ("", "1") else "") for m in measures)
    return Table(
        f"All measures of the {len(names)} strategies of {well}: mean ± standard error (P90 / P50 / P10)",
        ("Strategy", *head),
        tuple(
            (strategy_words(n) if n == NOTHING else n, *(cells.get((n, m), MISSING) for m in measures))
            for n in names
        ),
        collapsed=True,
    )


TABLES_AFTER: Mapping[str, tuple[Callable[[ReportData, str], Table | None], ...]] = {
    "scenarios": (page_scenarios.OF_WELL,),
    "dates": (_by_date_and_order, _TRIGGERS),
    "orders": (_ORDERS, _ORDER_JOBS),
    "production": (_UPTIME,),
    "cost": (_cost,),
    "timeline": (_timeline,),
    "failures": (_PRESSURE,),
    "reach": (_reach,),
    "drivers": (_DRIVERS,),
    "tornado": (_TORNADO,),
}
"""Tables that follow a chart, by its key; on a page without charts they stand in this order."""


def well_section(
    data: ReportData, charts: Sequence[DrawnChart], well: str, anchor: str, stem: str, above: str = ""
) -> Section:
    """Charts and tables of a well; charts: all of the report, in their order (none: tables alone).

    stem: part of the names of its files; above: the folder of the run as seen from the page.
    """
    blocks: list[Block] = []
    for chart in charts or [DrawnChart(key, "", "") for key in TABLES_AFTER]:
        if chart.svg:
            blocks.append(chart)
        tables = (table(data, well) for table in TABLES_AFTER.get(chart.key, ()))
        blocks += [table for table in tables if table is not None]
    blocks.append(_summary(data, well))
    files = f"All numbers: {above}tables/*.csv and .parquet."
    if charts:
        files = f"Charts as files: {above}charts/*-{stem}.png and .svg; all numbers: {above}tables/*.csv and .parquet."
    return Section(f"Evidence: {well}", anchor, (*blocks, Note((files,))))
