"""Evidence of one well for the page: its charts and the tables behind them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import pandas as pd

from refracmc.measures import SUMMARY_MEASURES
from refracmc.reporting.evidence_reach import reach_table
from refracmc.reporting.files import file_stems
from refracmc.reporting.numbers import (
    MILLION,
    MISSING,
    fixed,
    percent,
    share_done,
    significant,
    to_error,
    with_error,
)
from refracmc.reporting.parts import Chart, Note, Part, Section, Table
from refracmc.reporting.tables import NOTHING, ReportData
from refracmc.reporting.words import spoken, strategy_words

Drawn = Mapping[tuple[str, str], str]
"""SVG texts by (chart key, well id)."""


def million(value: float, error: float) -> str:
    """US$ as million with its error."""
    return with_error(float(value), float(error), MILLION)


def _grid(data: ReportData, well: str) -> Table | None:
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
    strong = frozenset({(dates.index(best["date"]), 1 + orders.index(best["order"]))})
    body = tuple((d, *(cells.get((d, o), MISSING) for o in orders)) for d in dates)
    return Table(
        "Mean incremental NPV by refrac date and stage order, US$ million",
        ("Refrac date", *(spoken(str(o)) for o in orders)),
        body,
        strong=strong,
        note="Doing nothing is 0 by definition. The highest mean is bold. ± is one standard "
        "error; all strategies "
        "share their trials, so differences between them are known better than the values.",
    )


def _triggers(data: ReportData, well: str) -> Table | None:
    """Strategies whose date a trigger sets, with the spread of their dates."""
    rows = data.of_well("triggers", well)
    if rows.empty:
        return None
    body = tuple(
        (
            strategy_words(str(r["strategy"])),
            million(r["mean_usd"], r["se_usd"]),
            *(to_error(float(r[f"{p}_usd"]), float(r["se_usd"]), MILLION) for p in ("p90", "p50", "p10")),
            percent(float(r["p_loss"]), float(r["p_loss_se"])),
            million(r["gap_usd"], r["gap_se_usd"]),
            str(r["against"]).rpartition("@")[2],
            share_done(float(r["executed_share"])),
            *(
                MISSING if not isinstance(r[f"{m}_month"], str) else r[f"{m}_month"]
                for m in ("early", "median", "late")
            ),
        )
        for _, r in rows.iterrows()
    )
    head = (
        "Strategy",
        "Mean",
        "P90",
        "P50",
        "P10",
        "Chance of loss",
        "Against the best fixed date",
        "that is",
    )
    return Table(
        "Incremental NPV of dates set by triggers over doing nothing, US$ million",
        (*head, "Carried out", "10 % started by", "Half by", "90 % by"),
        body,
        note="The date differs by trial; trials without a job count as 0. Months are those of the jobs carried out.",
    )


def _orders(data: ReportData, well: str) -> Table | None:
    """Value of the orders, each at its best date."""
    rows = data.of_well("orders", well)
    if rows.empty:
        return None
    body = []
    for _, r in rows.iterrows():
        se = float(r["se_usd"])
        body.append(
            (
                spoken(str(r["order"])),
                str(r["date"]),
                million(r["mean_usd"], se),
                million(r["gap_usd"], r["gap_se_usd"]),
                *(to_error(float(r[f"{p}_usd"]), se, MILLION) for p in ("p90", "p50", "p10")),
                percent(float(r["effective_share"]), float(r["effective_share_se"])),
                significant(float(r["extra_shifts"])),
            )
        )
    head = ("Order", "Best date", "Incremental NPV, mean", "Against the best order", "P90", "P50", "P10")
    more = ("Stages effective", "Extra shifts")
    return Table("Stage orders, each at its best date, US$ million", (*head, *more), tuple(body))


def _order_jobs(data: ReportData, well: str) -> Table | None:
    """Days and cost of the orders, each at its best date."""
    rows = data.of_well("orders", well)
    if rows.empty:
        return None
    body = []
    for _, r in rows.iterrows():
        days, cost = float(r["job_days_se"]), float(r["job_cost_se_usd"])
        body.append(
            (
                spoken(str(r["order"])),
                with_error(float(r["job_days"]), days),
                *(to_error(float(r[f"job_days_{p}"]), days) for p in ("p90", "p50", "p10")),
                million(r["job_cost_usd"], cost),
                *(to_error(float(r[f"job_cost_{p}_usd"]), cost, MILLION) for p in ("p90", "p50", "p10")),
            )
        )
    head = ("Order", "Days shut in, mean", "P90", "P50", "P10", "Cost, mean", "P90", "P50", "P10")
    return Table("Days and cost of the job by order, US$ million", head, tuple(body))


def _drivers(data: ReportData, well: str) -> Table | None:
    rows = data.of_well("drivers", well)
    if rows.empty:
        return None
    body = tuple(
        (
            spoken(str(r["target"])),
            spoken(str(r["group"])),
            with_error(r["first"], r["first_ci"] / 1.96),
            with_error(r["total"], r["total_ci"] / 1.96),
        )
        for _, r in rows.iterrows()
    )
    return Table(
        "Variance shares behind the chart of drivers",
        ("Of", "Group of inputs", "Alone", "With interactions"),
        body,
        left=2,
        collapsed=True,
    )


def _tornado(data: ReportData, well: str) -> Table | None:
    rows = data.of_well("tornado", well)
    if rows.empty:
        return None
    body = tuple(
        (
            str(r["input"]),
            str(r["unit"]),
            significant(r["low_input"]),
            significant(r["high_input"]),
            million(r["low_mean_usd"], r["low_se_usd"]),
            million(r["high_mean_usd"], r["high_se_usd"]),
        )
        for _, r in rows.iterrows()
    )
    return Table(
        "Mean incremental NPV behind the chart of single inputs, US$ million",
        ("Input", "Unit", "Low", "High", "Mean at low", "Mean at high"),
        body,
        left=2,
        collapsed=True,
    )


def _cost(data: ReportData, well: str) -> Table | None:
    """Mean cost by part, strategies across."""
    rows = data.of_well("cost", well)
    if rows.empty:
        return None
    names = list(dict.fromkeys(rows["strategy"]))[:8]
    parts = list(dict.fromkeys(rows["part"]))
    cells = {
        (p, n): f"{million(m, s)} ({fixed(100 * q, 1)} %)"
        for p, n, m, s, q in zip(
            rows["part"], rows["strategy"], rows["mean_usd"], rows["se_usd"], rows["share"], strict=True
        )
    }
    body = tuple((spoken(str(p)), *(cells.get((p, n), MISSING) for n in names)) for p in parts)
    return Table(
        "Mean cost by part, US$ million (share of the total)",
        ("Part", *(strategy_words(str(n)) for n in names)),
        body,
        collapsed=True,
    )


def _timeline(data: ReportData, well: str) -> Table | None:
    rows = data.of_well("timeline", well)
    if rows.empty:
        return None
    columns = rows.drop(columns=["well", "strategy"])
    body = []
    for scenario, step, action, sleeve, depth, start, end, outcome in zip(
        *(columns[name].to_numpy(dtype=object) for name in columns), strict=True
    ):
        body.append(
            (
                str(scenario),
                str(step),
                spoken(str(action)),
                MISSING if pd.isna(sleeve) else str(sleeve),
                MISSING if math.isnan(depth) else fixed(depth, 0),
                fixed(start, 1),
                fixed(end, 1),
                MISSING if outcome is None or outcome != outcome else str(outcome),
            )
        )
    return Table(
        f"The job step by step, {strategy_words(str(rows['strategy'].iloc[0]))}: {len(body)} steps",
        ("Scenario", "Step", "Action", "Sleeve", "Depth, ft", "From, h", "To, h", "Outcome"),
        tuple(body),
        left=1,
        collapsed=True,
    )


def _pressure(data: ReportData, well: str) -> Table | None:
    """Treating pressure against what casing, wellhead and tubing bear."""
    rows = data.of_well("pressure", well)
    if rows.empty:
        return None
    body = tuple(
        (
            str(r["limit_name"]),
            percent(float(r["inside_share"]), float(r["inside_share_se"])),
            *(fixed(round(float(r[f"asked_{p}_psi"]), -1), 0) for p in ("p90", "p50", "p10")),
            *(fixed(round(float(r[f"borne_{p}_psi"]), -1), 0) for p in ("p90", "p50", "p10")),
        )
        for _, r in rows.iterrows()
    )
    return Table(
        "Pressure screen: treating pressure at the surface, deepest stage, against what is allowed, psi",
        ("Limit", "Trials within", "Asked P90", "P50", "P10", "Allowed P90", "P50", "P10"),
        body,
        note="A screen, not a design; see the cautions at the end of the page. Allowed: internal yield of the worn "
        "casing and collapse of the tubing over their factors, and the wellhead's rating.",
    )


def _cell(found: Sequence[float], scale: float, percentiles: bool) -> str:
    """Mean with error, the percentiles, and the share of trials in which it is undefined; found: in that order."""
    mean, se, p90, p50, p10, undefined = found
    if undefined >= 1 or not math.isfinite(mean):
        return MISSING
    text = with_error(mean, se, scale)
    if percentiles and math.isfinite(p50):
        text += f" ({' / '.join(to_error(value, se, scale) for value in (p90, p50, p10))})"
    if undefined > 0:
        text += f", undefined {fixed(100 * undefined, 1)} %"
    return text


def _summary(data: ReportData, well: str) -> Table:
    """All measures of all strategies of one well, strategies down and measures across."""
    rows = data.of_well("summary", well)
    present = [str(m) for m in rows["measure"].unique()]
    measures = [m for m in SUMMARY_MEASURES if m in present]
    cells: dict[tuple[str, str], str] = {}
    units: dict[str, str] = {}
    numbers = rows[["mean", "se", "p90", "p50", "p10", "undefined_share"]].to_numpy(dtype=float).tolist()
    labels = (rows[name].to_numpy(dtype=object) for name in ("strategy", "measure", "unit"))
    for strategy, measure, unit, found in zip(*labels, numbers, strict=True):
        scale = MILLION if unit == "US$" else 1.0
        units[measure] = "US$ million" if unit == "US$" else unit
        cells[strategy, measure] = _cell(found, scale, measure not in ("p_loss", "cvar"))
    names = [str(n) for n in rows["strategy"].unique()]
    head = tuple(spoken(m) + (f", {units[m]}" if units[m] not in ("", "1") else "") for m in measures)
    body = tuple(
        (strategy_words(n) if n == NOTHING else n, *(cells.get((n, m), MISSING) for m in measures))
        for n in names
    )
    return Table(
        f"All measures of the {len(names)} strategies of {well}: mean ± standard error (P90 / P50 / P10)",
        ("Strategy", *head),
        body,
        collapsed=True,
    )


def evidence(data: ReportData, drawn: Drawn, well: str, anchor: str) -> Section:
    stem = file_stems(data.wells)[well]
    after: Mapping[str, tuple[Callable[[ReportData, str], Table | None], ...]] = {
        "dates": (_grid, _triggers),
        "strategies": (),
        "orders": (_orders, _order_jobs),
        "cost": (_cost,),
        "timeline": (_timeline,),
        "failures": (_pressure,),
        "reach": (reach_table,),
        "drivers": (_drivers,),
        "tornado": (_tornado,),
    }
    captions = dict.fromkeys(after, "")  # without charts, Matplotlib is not loaded
    if drawn:
        from refracmc.reporting.charts import CHARTS

        captions = {kind.key: kind.caption for kind in CHARTS}
    parts: list[Part] = []
    for key, caption in captions.items():
        if (key, well) in drawn:
            parts.append(Chart(f"{key}-{anchor}", drawn[key, well], caption))
        parts += [table for make in after.get(key, ()) if (table := make(data, well)) is not None]
    parts.append(_summary(data, well))
    files = "All numbers: tables/*.csv and .parquet."
    if drawn:
        files = f"Charts as files: charts/*-{stem}.png and .svg; all numbers: tables/*.csv and .parquet."
    parts.append(Note((files,)))
    return Section(f"Evidence: {well}", anchor, tuple(parts))
