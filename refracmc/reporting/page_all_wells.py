"""The page of a case of many wells: the advice in totals, all wells in one table, when, and what was left out and why.

Each well has a page of its own beside it, see :mod:`refracmc.reporting.well_pages`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from refracmc.reporting.captions import (
    MILLION_GROSS,
    MILLION_WI,
    PERCENTILES,
    error_words,
    has_date,
    split_strategy,
    spoken,
    usd_wi,
)
from refracmc.reporting.page import Block, DrawnChart, Note, Section, Table
from refracmc.reporting.page_columns import PERCENTS, Row, million
from refracmc.reporting.page_inputs import asked_table
from refracmc.reporting.rounding import MILLION, fixed, percent, to_error, with_error
from refracmc.reporting.tables import ReportData

REFRACTURE = "refracture"
OPEN = "not told apart"
VERDICTS = (REFRACTURE, "marginal", OPEN, "leave", "none")
_SAID = {"none": "without advice (too few trials)"}

Total = Mapping[str, Row]
"""Rows of the sums over wells by measure."""


def totals(data: ReportData, jobs: str) -> Total:
    """Sums over wells with the jobs of that name."""
    rows = data.tables["portfolio_total"]
    return {str(row["measure"]): row for row in rows[rows["jobs"] == jobs].to_dict("records")}


def verdict_counts(data: ReportData) -> dict[str, int]:
    """How many wells have each verdict, in the order of VERDICTS, those that none has left out."""
    counts = data.tables["wells_ranked"]["verdict"].value_counts()
    return {verdict: int(counts[verdict]) for verdict in VERDICTS if verdict in counts}


def percentile_words(row: Row, scale: float = MILLION) -> str:
    """The three percentiles of a row of sums: ``P90 1.2, P50 2.3, P10 3.4``."""
    return ", ".join(
        f"{name.upper()} {to_error(float(row[name]), float(row[f'{name}_se']), scale, 1.0)}"
        for name in PERCENTS
    )


def jobs_words(count: int) -> str:
    """``1 refrac`` or ``7 refracs``."""
    return f"{count} refrac{'' if count == 1 else 's'}"


def _headline(data: ReportData, chosen: int, total: Total) -> str:
    wells = len(data.wells)
    if not chosen:
        return f"None of the {wells} wells is to be refractured"
    capital, gain = (total[name] for name in ("capex", "incremental_npv"))
    return (
        f"Refracture {chosen} of {wells} wells: US$ {million(capital['mean'], capital['se'])} million WI of capital "
        f"for US$ {million(gain['mean'], gain['se'])} million WI more than doing nothing"
    )


def _open_words(data: ReportData) -> str:
    """What the wells that are not told apart would add."""
    rows = data.tables["wells_ranked"]
    rows = rows[rows["verdict"] == OPEN]
    value, capital = (float(rows[name].sum()) / MILLION for name in ("mean_usd", "capital_usd"))
    return (
        f"The {len(rows)} not told apart are not among these jobs. By their means they would add "
        f"{usd_wi(fixed(value, 1))} for {usd_wi(fixed(capital, 1))} of capital; more trials tell which are worth it."
    )


def advice(data: ReportData) -> Note:
    """How many wells go which way, what the jobs cost together and what they return."""
    counts, refused = verdict_counts(data), len(data.facts.refused)
    chosen, total, nothing = counts.get(REFRACTURE, 0), totals(data, REFRACTURE), totals(data, "none")
    parts = [f"{count} {_SAID.get(name, name)}" for name, count in counts.items()]
    parts += [f"{refused} could not be valued"] if refused else []
    paragraphs = [f"Of {len(data.wells) + refused} wells: {', '.join(parts)}."]
    if chosen:
        rows = data.tables["wells_ranked"]
        dates = sorted(rows.loc[rows["verdict"] == REFRACTURE, "date"])
        capital, gross, gain = (total[name] for name in ("capex", "capex_gross", "incremental_npv"))
        ratio, loss, tail = (total[name] for name in ("capital_efficiency", "p_loss", "cvar"))
        own = rows.loc[rows["verdict"] == REFRACTURE, "p90_usd"].sum()
        when = f"in {dates[0]}" if dates[0] == dates[-1] else f"from {dates[0]} to {dates[-1]}"
        paragraphs += [
            f"The {jobs_words(chosen)}, each at the best date of its own, {when}, cost "
            f"{usd_wi(million(capital['mean'], capital['se']))} ({percentile_words(capital)}; at 8/8 "
            f"{million(gross['mean'], gross['se'])}). Together they are worth "
            f"{usd_wi(million(gain['mean'], gain['se']))} more than doing nothing ({percentile_words(gain)}), "
            f"{with_error(ratio['mean'], ratio['se'])} per dollar of discounted capital. They lose together in "
            f"{percent(loss['mean'], loss['se'])} of trials; the worst {100 * data.facts.cvar_tail_fraction:g} % of "
            f"trials bring {usd_wi(million(tail['mean'], tail['se']))} on average.",
            f"All wells are worth {usd_wi(million(nothing['npv']['mean'], nothing['npv']['se']))} with nothing done "
            f"({percentile_words(nothing['npv'])}) and "
            f"{usd_wi(million(total['npv']['mean'], total['npv']['se']))} with these jobs "
            f"({percentile_words(total['npv'])}). Sums are taken trial by trial: in a trial all wells see the same "
            f"prices and the same shared costs. The wells' own P90 would add up to "
            f"{usd_wi(fixed(own / MILLION, 1))}. No budget and no crew stands behind these dates.",
        ]
    if OPEN in counts:
        paragraphs.append(_open_words(data))
    return Note(
        tuple(paragraphs), _headline(data, chosen, total), f"verdict-{REFRACTURE if chosen else 'leave'}"
    )


Cell = tuple[str, float | str]
"""Text of a cell, and what it is sorted by."""


def _number(text: str, key: Any) -> Cell:
    value = float(key)
    return text, value if math.isfinite(value) else ""


def _well_cells(row: Row) -> list[Cell]:
    """One row of the table of wells."""
    order, date = split_strategy(str(row["strategy"]))
    set_by = "" if has_date(str(row["strategy"])) else f" ({spoken(date)})"
    worst = [to_error(row[f"{p}_usd"], row[f"{p}_se_usd"], MILLION, 1.0) for p in PERCENTS]
    return [
        (str(row["well"]), str(row["well"])),
        (str(row["verdict"]), f"{VERDICTS.index(row['verdict'])} {row['verdict']}"),
        (spoken(order), spoken(order)),
        (f"{row['date']}{set_by}", str(row["date"])),
        _number(million(row["capital_usd"], row["capital_se_usd"]), row["capital_usd"]),
        _number(million(row["mean_usd"], row["se_usd"]), row["mean_usd"]),
        *(_number(text, row[f"{p}_usd"]) for p, text in zip(PERCENTS, worst, strict=True)),
        _number(percent(row["p_loss"], row["p_loss_se"]), row["p_loss"]),
        _number(with_error(row["value_per_dollar"], row["value_per_dollar_se"]), row["value_per_dollar"]),
        _number(fixed(row["capital_to_here_usd"] / MILLION, 1), row["capital_to_here_usd"]),
        _number(fixed(row["value_to_here_usd"] / MILLION, 1), row["value_to_here_usd"]),
    ]


_HEAD = ("Well", "Verdict", "Best refrac tried", "Date", "Capital", "Mean", "P90", "P50", "P10", "Chance of loss",
         "Per dollar", "Capital so far", "Value so far")  # fmt: skip


def _total_row(label: str, total: Total) -> tuple[str, ...]:
    capital, gain = total["capex"], total["incremental_npv"]
    loss, ratio = total["p_loss"], total["capital_efficiency"]
    return (
        label,
        million(capital["mean"], capital["se"]),
        million(gain["mean"], gain["se"]),
        *(to_error(gain[p], gain[f"{p}_se"], MILLION, 1.0) for p in PERCENTS),
        percent(loss["mean"], loss["se"]),
        with_error(ratio["mean"], ratio["se"]),
        *("",) * 2,
    )


def wells_table(data: ReportData, links: Mapping[str, str]) -> Table:
    """All wells by value per dollar, with the rows of the sums; links: page of each well."""
    rows = data.tables["wells_ranked"].to_dict("records")
    cells = [_well_cells(row) for row in rows]
    chosen = verdict_counts(data).get(REFRACTURE, 0)
    foot = [_total_row(f"The {chosen} to refracture", totals(data, REFRACTURE))] if chosen else []
    foot.append(_total_row(f"All {len(rows)} wells, each refractured", totals(data, "all")))
    return Table(
        f"Wells by value per dollar: incremental NPV of the best refrac of each over doing nothing, {MILLION_WI}",
        _HEAD,
        tuple(tuple(text for text, _ in row) for row in cells),
        left=4,
        links=tuple(links[str(row["well"])] for row in rows),
        keys=tuple(tuple(key for _, key in row) for row in cells),
        foot=tuple(foot),
        note=f"A well's name leads to its page. {PERCENTILES} {error_words(data.facts)} Percentiles of the last rows "
        "are those of the sum, trial by trial. Capital: mean cost of the job, WI, undiscounted. Per dollar: mean over "
        "mean discounted capital, as the verdicts take it. So far: sums of the rows from the top. The "
        "best of many strategies is picked by its mean over the same trials, so that means are slightly flattered "
        "where strategies are close.",
    )


def _reason(row: Row) -> str:
    """What a well that is not refractured lacks, by the limits of the case."""
    if row["verdict"] == "none":
        return "too few trials for advice"
    least, greatest = float(row["least_value_per_dollar"]), float(row["greatest_chance_of_loss"])
    value, loss = float(row["value_per_dollar"]), float(row["p_loss"])
    brings = f"{with_error(value, float(row['value_per_dollar_se']))} per dollar (asked: {least:g})"
    loses = (
        f"loses in {percent(loss, float(row['p_loss_se']))} of trials (asked: {100 * greatest:g} % at most)"
    )
    if row["verdict"] == OPEN:
        span = f"between {row['verdict_high']} and {row['verdict_low']} within the errors"
        others = f", or by which of {1 + int(row['equals'])} refracs is best" if row["equals"] else ""
        return f"{span}{others}: brings {brings}, {loses}"
    lacks = [f"brings {brings}" if value == value else "no job is carried out"] * (not value >= least)
    return "; ".join([*lacks, *([loses] if loss > greatest else [])])


def left_out(data: ReportData, links: Mapping[str, str]) -> Section:
    """Wells that are not refractured, and why; wells that could not be valued."""
    ranked = data.tables["wells_ranked"]
    judged = {row["well"]: row for row in data.tables["verdicts"].to_dict("records")}
    rows = [row for row in ranked.to_dict("records") if row["verdict"] != REFRACTURE]
    rows.sort(key=lambda row: VERDICTS.index(row["verdict"]))
    blocks: list[Block] = []
    if rows:
        blocks.append(
            Table(
                f"{len(rows)} of {len(data.wells)} wells are not among the jobs",
                ("Well", "Verdict", f"Mean of its best refrac, {MILLION_WI}", "Why"),
                tuple(
                    (
                        str(row["well"]),
                        str(row["verdict"]),
                        million(row["mean_usd"], row["se_usd"]),
                        _reason(judged[row["well"]]),
                    )
                    for row in rows
                ),
                left=4,
                links=tuple(links[str(row["well"])] for row in rows),
                note="What would turn a verdict stands on the page of the well.",
            )
        )
    else:
        blocks.append(
            Note((f"None: all {len(data.wells)} wells that could be valued are to be refractured.",))
        )
    if data.facts.refused:
        blocks.append(Table("Wells that could not be valued", ("Well", "Reason"), data.facts.refused, left=2))
    return Section("What was left out, and why", "left-out", tuple(blocks))


def _month_table(data: ReportData) -> Table:
    rows = data.tables["portfolio_months"]
    chosen = rows[rows["jobs"] == REFRACTURE].to_dict("records")

    def sums(row: Row) -> tuple[str, ...]:
        money = (row["capital_usd"], row["capital_gross_usd"], row["mean_usd"])
        return fixed(row["days_on_job"], 0), *(fixed(value / MILLION, 2) for value in money)

    foot = {name: sum(row[name] for row in chosen) for name in (*_SUMMED, "count")}
    return Table(
        "Jobs by month: wells to refracture, each at the best date of its own",
        ("Month", "Wells", "Jobs", "Days shut in", f"Capital, {MILLION_WI}", f"Capital, {MILLION_GROSS}",
         f"Mean incremental NPV, {MILLION_WI}"),
        tuple((str(row["month"]), str(row["wells"]), str(row["count"]), *sums(row)) for row in chosen),
        left=2,
        foot=(("All", str(foot["count"]), *sums(foot)),) if chosen else (),
        note="Means; trials in which a job is not carried out count as 0. No two jobs are kept apart here: a month "
        "with more jobs than crews is one to look at.",
    )  # fmt: skip


_SUMMED = ("days_on_job", "capital_usd", "capital_gross_usd", "mean_usd")


def _year_table(data: ReportData, measure: str) -> Table | None:
    """A measure by year, without the jobs and with those of the wells to refracture."""
    rows = data.tables["portfolio_years"]
    rows = rows[rows["measure"] == measure]
    money = measure.startswith("capex")
    branches = (
        [("with the jobs", REFRACTURE)]
        if money
        else [("nothing done", "none"), ("with the jobs", REFRACTURE)]
    )
    found = {
        (str(row["jobs"]), int(row["year"])): row
        for row in rows.to_dict("records")
        if row["jobs"] in (REFRACTURE, "none")
    }
    years = sorted(year for jobs, year in found if jobs == REFRACTURE)
    if money:
        years = [year for year in years if found[REFRACTURE, year]["mean"] > 0.0]
    if not years:
        return None
    scale = MILLION if money else 1e3
    unit = str(rows["unit"].iloc[0])
    unit = unit.replace("US$", "US$ million") if money else f"thousand {unit}"

    def cells(row: Row) -> tuple[str, ...]:
        triple = (to_error(row[p], row[f"{p}_se"], scale, 1.0) for p in PERCENTS)
        return with_error(row["mean"], row["se"], scale), *triple

    names = {"capex": "Capital", "capex_gross": "Capital at 8/8"}
    return Table(
        f"{names.get(measure, spoken(measure).capitalize())} of all wells by calendar year, {unit}",
        ("Year", *(f"{head}, {label}" for label, _ in branches for head in ("mean", "P90", "P50", "P10"))),
        tuple(
            (str(year), *(cell for _, jobs in branches for cell in cells(found[jobs, year])))
            for year in years
        ),
        collapsed=measure != "capex",
    )


def _chart(charts: Sequence[DrawnChart], key: str) -> list[Block]:
    return [chart for chart in charts if chart.key == key and chart.svg]


def _what_holds_for_all(data: ReportData) -> list[Block]:
    """What the verdicts ask for, and what the answer rests on."""
    facts, blocks = data.facts, asked_table(data, shared=True)
    if facts.response_told:
        blocks.append(Note(facts.response_told))
    if facts.history_told:
        wells = len({well for well, _ in facts.history_told})
        rows = tuple((well, said) for well, said in facts.history_told)
        caption = f"What the histories of {wells} wells leave open"
        blocks.append(Table(caption, ("Well", "What"), rows, left=2, collapsed=True))
    return blocks


def sections_of_all_wells(
    data: ReportData, charts: Sequence[DrawnChart], links: Mapping[str, str], further: Sequence[Section] = ()
) -> list[Section]:
    """The sections of the page before inputs and method.

    charts: those over all wells; links: page of each well; further: sections that follow the totals.
    """
    first: list[Block] = []
    if data.facts.data_status != "real":
        first.append(Note((f"The data of this case are {data.facts.data_status}.",)))
    first += [advice(data), wells_table(data, links), *_what_holds_for_all(data)]
    volumes = (_year_table(data, measure) for measure in ("capex", "capex_gross", "oil", "gas", "water"))
    years = [*_chart(charts, "years"), *(table for table in volumes if table is not None)]
    years.append(Note((f"Bands and tables by year are of the first {data.facts.fan_trials:,} trials.",)))
    return [
        Section("What to decide", "decide", tuple(first)),
        *further,
        Section(
            "All wells in one picture", "all-wells", (*_chart(charts, "wells"), *_chart(charts, "capital"))
        ),
        Section("When", "when", (*_chart(charts, "calendar"), _month_table(data))),
        Section("Capital and volumes by year", "years", tuple(years)),
        left_out(data, links),
    ]
