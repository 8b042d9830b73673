"""Sections of the page on the choice among wells, made of the rows of its tables alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from refracmc.reporting.captions import PERCENTILES, spoken, usd_wi
from refracmc.reporting.page import Block, DrawnChart, Note, Section, Table
from refracmc.reporting.rounding import MILLION, MISSING, fixed, percent, significant, to_error, with_error

Row = Mapping[str, Any]
AS_GOOD = 0.005
"""Shortfall up to which a ranking is called as good, or the gap asked for where that is wider."""


@dataclass(frozen=True, slots=True)
class PortfolioFacts:
    """What stands in no table. total: mean, percentiles and their errors of the summed trials [US$ WI]; gap: fraction;
    resamples: how many were done; triggered: strategies left out; asked: the limits in words."""

    trials: int
    total: Mapping[str, float]
    gap: float
    asked_gap: float
    is_optimal: bool
    seconds: float
    resamples: int
    triggered: int
    asked: tuple[str, ...]


def portfolio_sections(
    rows: Mapping[str, Sequence[Row]], facts: PortfolioFacts, charts: Sequence[DrawnChart]
) -> list[Section]:
    """All sections in their order: the answer, crews, what was left out, what more is worth, risk, firmness, method."""
    drawn = {chart.key: chart for chart in charts}

    def with_chart(key: str, *blocks: Block) -> tuple[Block, ...]:
        return (*([drawn[key]] if key in drawn else []), *blocks)

    jobs = [row for row in rows["portfolio"] if row["chosen"]]
    return [
        Section("Which jobs", "jobs", (_answer(rows, facts), _jobs_table(jobs), _years_table(rows["years"]))),
        Section("Crews", "crews", with_chart("calendar", _schedule_table(rows["schedule"]))),
        Section("Left out, and why", "left-out", (_left_out_table(rows["portfolio"]),)),
        Section("What more would be worth", "worth", with_chart("worth", *_worth_blocks(rows["worth"]))),
        Section("Risk", "risk", with_chart("front", _front_table(rows["front"]))),
        Section("How firm the choice is", "firm", tuple(_firmness(rows, facts))),
        Section("Method", "method", (Note(_method(facts)),)),
    ]


def _m(value: Any, digits: int = 3) -> str:
    """US$ as million; a missing number is "-"."""
    return MISSING if value is None or value != value else significant(float(value) / MILLION, digits)


def _amount(row: Row, value: str, error: str) -> str:
    known = row[value] is not None and row[error] is not None
    return with_error(float(row[value]), float(row[error]), MILLION) if known else _m(row[value])


def _text(value: Any) -> str:
    return MISSING if value is None else str(value)


def _percentiles(total: Mapping[str, float]) -> str:
    return ", ".join(
        f"{name.upper()} {to_error(total[name], total[f'{name}_se'], MILLION, 1.0)}"
        for name in ("p90", "p50", "p10")
    )


def _answer(rows: Mapping[str, Sequence[Row]], facts: PortfolioFacts) -> Note:
    """Which jobs next, what they cost, what they return, what one more crew or million is worth."""
    front = next(row for row in rows["front"] if row["is_choice"])
    jobs = sum(row["chosen"] for row in rows["portfolio"])
    left = len(rows["portfolio"]) - jobs
    lines = []
    for year in rows["years"]:
        names = [row["well"] for row in rows["schedule"] if row["month"][:4] == str(year["year"])]
        if names:
            lines.append(
                f"{year['year']}: {len(names)} jobs, {', '.join(names)}; they cost {usd_wi(_m(year['capital_usd']))} "
                f"and are worth {usd_wi(_m(year['mean_usd']))} more than doing nothing (P90 {_m(year['p90_usd'])}, "
                f"P50 {_m(year['p50_usd'])}, P10 {_m(year['p10_usd'])})."
            )
    total = with_error(facts.total["mean"], facts.total["se"], MILLION)
    lines.append(
        f"All jobs: {usd_wi(total)} more than doing nothing, savings of shared mobilisations in it "
        f"({_percentiles(facts.total)} of the summed trials), for {usd_wi(_m(front['capital_usd']))} of capital; a "
        f"loss in {percent(float(front['p_loss']))} of trials. {left} are left out."
    )
    gains = [row for row in rows["worth"] if float(row["gain_usd"]) > 0.0]
    if gains:
        told = "; ".join(f"{row['what']} {usd_wi(_m(row['gain_usd']))}" for row in gains[:4])
        lines.append(f"More would be worth: {told}.")
    elif rows["worth"]:
        lines.append("Nothing that was tried of more capital or crews is worth anything.")
    lines.append(
        f"No choice under these limits is better by more than {facts.gap:.2%}"
        + (
            "."
            if facts.gap <= facts.asked_gap * 1.001
            else f" ({facts.asked_gap:.2%} was asked for; time ran out)."
        )
    )
    return Note(
        tuple(lines),
        f"Do {jobs} jobs: {usd_wi(_m(front['capital_usd']))} of capital for {usd_wi(total)} more than doing nothing",
        "verdict-refracture" if jobs else "verdict-leave",
    )


def _jobs_table(jobs: Sequence[Row]) -> Table:
    body = tuple(
        (
            row["month"], row["well"], _text(row["pad"]), spoken(str(row["order"])),
            _amount(row, "capital_usd", "capital_se_usd"), _amount(row, "mean_usd", "se_usd"),
            _m(row["p90_usd"]), _m(row["p50_usd"]), _m(row["p10_usd"]), percent(float(row["p_loss"])),
            significant(float(row["days"])),
            MISSING if row["chosen_share"] is None else f"{100 * row['chosen_share']:.0f} %",
        )
        for row in jobs
    )  # fmt: skip
    sums = ["" for _ in range(12)]
    sums[1] = f"all {len(jobs)}"
    for place, name in ((4, "capital_usd"), (5, "mean_usd")):
        sums[place] = _m(sum(float(row[name]) for row in jobs))
    head = ("month", "well", "pad", "job", "capital", "mean value", "P90", "P50", "P10", "chance of loss", "days",
            "chosen again")  # fmt: skip
    note = "US$ million WI. Percentiles do not add up: those of the sum stand above. " + PERCENTILES
    strong = frozenset((len(body), k) for k in range(12))
    return Table("The jobs, by beginning", head, (*body, tuple(sums)), 4, note=note, strong=strong)


def _years_table(years: Sequence[Row]) -> Table:
    body = tuple(
        (
            str(row["year"]), str(row["jobs"]), _m(row["capital_usd"]),
            f"{_m(row['capital_p90_usd'])} to {_m(row['capital_p10_usd'])}", _m(row["limit_usd"]), _m(row["mean_usd"]),
            _m(row["p90_usd"]), _m(row["p50_usd"]), _m(row["p10_usd"]),
        )
        for row in years
    )  # fmt: skip
    head = ("year", "jobs", "capital", "P90 to P10", "limit", "mean value", "P90", "P50", "P10")
    return Table("Capital and value by year of the job", head, body, note="US$ million WI, summed trials.")


def _schedule_table(schedule: Sequence[Row]) -> Table:
    body = tuple(
        (
            row["month"], row["well"], _text(row["ct_crew"]), _text(row["frac_crew"]),
            fixed(float(row["planned_start_day"]) + 1.0, 0), fixed(float(row["planned_days"]), 0),
            f"{fixed(float(row['start_p90_day']) + 1.0, 0)} to {fixed(float(row['start_p10_day']) + 1.0, 0)}",
            percent(float(row["chance_of_slip"]), float(row["chance_of_slip_se"])),
            fixed(float(row["slip_days"]), 1),
            fixed(float(row["slip_cost_usd"]) / MILLION, 3),
        )
        for row in schedule
    )  # fmt: skip
    head = ("month", "well", "CT crew", "frac crew", "begins on day", "days", "P90 to P10 of the beginning",
            "begins after its month", "mean delay, days", "it costs, US$ million WI")  # fmt: skip
    note = (
        "Working days, counted from the first of the month chosen. A late job pushes the next of its crews."
    )
    return Table("Calendar", head, body, 2, note=note)


def _left_out_table(portfolio: Sequence[Row]) -> Table:
    body = tuple(
        (
            row["well"], row["reason"], MISSING if row["order"] is None else spoken(str(row["order"])),
            _text(row["month"]), _m(row["capital_usd"]),
            MISSING if row["mean_usd"] is None else _amount(row, "mean_usd", "se_usd"),
            MISSING if row["chosen_share"] is None else f"{100 * row['chosen_share']:.0f} %",
        )
        for row in portfolio
        if not row["chosen"]
    )  # fmt: skip
    head = ("well", "why", "its best job", "month", "capital", "mean value", "chosen again")
    note = "US$ million WI. Chosen again: share of the resamples in which a job of the well is chosen."
    return Table(f"{len(body)} left out, by value", head, body, 4, note=note)


def _worth_blocks(worth: Sequence[Row]) -> list[Block]:
    if not worth:
        return [Note(("No limit of capital or crews is stated, so there is nothing to have more of.",))]
    body = tuple(
        (row["what"], _m(row["gain_usd"]), _m(row["most_usd"]), _text(row["comes"]), _text(row["goes"]))
        for row in worth
    )
    head = ("what there is more of", "gain", "at most", "comes in", "goes out")
    note = "US$ million WI of mean value, by choosing again; at most: what the solver cannot rule out."
    return [Table("Worth of more", head, body, note=note)]


def _front_table(front: Sequence[Row]) -> Table:
    body = tuple(
        (
            significant(float(row["risk_weight"]), 2) + (" (this page)" if row["is_choice"] else ""), str(row["jobs"]),
            _m(row["capital_usd"]), _amount(row, "mean_usd", "se_usd"), _amount(row, "cvar_usd", "cvar_se_usd"),
            _m(row["p90_usd"]), _m(row["p50_usd"]), _m(row["p10_usd"]), percent(float(row["p_loss"])),
            MISSING if row["chance_of_target"] is None
            else percent(float(row["chance_of_target"]), float(row["chance_of_target_se"])),
            fixed(float(row["gap_usd"]) / MILLION, 2), _text(row["comes"]), _text(row["goes"]),
        )
        for row in front
    )  # fmt: skip
    target = next((row["target_usd"] for row in front if row["target_usd"] is not None), None)
    reach = "chance of the target" if target is None else f"chance of US$ {_m(target)} million"
    head = ("risk weight", "jobs", "capital", "mean", "worst trials", "P90", "P50", "P10", "loss", reach,
            "off the best, at most", "comes in", "goes out")  # fmt: skip
    note = "US$ million WI, summed trials. Worst trials: their mean (CVaR with its sign turned)."
    return Table("The efficient front", head, body, note=note)


def _firmness(rows: Mapping[str, Sequence[Row]], facts: PortfolioFacts) -> list[Block]:
    """Resamples in words, rankings and regret as tables."""
    best, *others = rows["rankings"]
    limit = max(AS_GOOD, facts.asked_gap)
    good = [row["way"] for row in others if row["fits"] and float(row["shortfall"]) <= limit]
    poor = [row["way"] for row in others if row["way"] not in good]
    said = []
    if good:
        said.append(f"Here a plain ranking by {', by '.join(good)} does as well, within {limit:.1%}.")
    if poor:
        said.append(f"A ranking by {', by '.join(poor)}, filled from the top, falls short.")
    if facts.resamples:
        jobs = [row for row in rows["portfolio"] if row["chosen"] and row["chosen_share"] is not None]
        firm = sum(float(row["chosen_share"]) >= 0.9 for row in jobs)
        said.append(
            f"The choice was made again for {facts.resamples} resamples of the trials: {firm} of {len(jobs)} jobs are "
            "chosen in nine of ten of them or more."
        )
    body = tuple(
        (row["way"], str(row["jobs"]), _m(row["mean_usd"]), _m(row["capital_usd"]), _m(row["shortfall_usd"]),
         f"{100 * float(row['shortfall']):.1f} %", "yes" if row["fits"] else "no")
        for row in (best, *others)
    )  # fmt: skip
    head = (
        "way to choose",
        "jobs",
        "mean value",
        "capital",
        "short by",
        "of the best",
        "meets all that is asked",
    )
    blocks: list[Block] = [Note(tuple(said)), Table("Plain rankings", head, body, note="US$ million WI.")]
    if rows.get("regret"):
        its = tuple(
            (row["scenario"], _m(row["value_usd"]), _m(row["best_usd"]), _m(row["regret_usd"]),
             f"{int(row['jobs_in_common'])} of {int(row['jobs'])}")
            for row in rows["regret"]
        )  # fmt: skip
        names = ("scenario", "these jobs", "best choice there", "regret", "its jobs that are these")
        blocks.append(Table("Regret by scenario", names, its, note="US$ million WI, mean values."))
    return blocks


def _method(facts: PortfolioFacts) -> tuple[str, ...]:
    left = (
        f"{facts.triggered} strategies with dates set by triggers are not offered, as their month is not known before. "
        if facts.triggered
        else ""
    )
    return (
        "Asked: " + "; ".join(facts.asked) + ".",
        f"An integer programme picks at most one strategy a well, {facts.seconds:.1f} s of the solver. {left}Sums are "
        f"taken trial by trial over {facts.trials:,} trials, in which all wells have the same prices and shared costs.",
        "What more is worth comes from choosing again, never from the duals of an integer programme. Value lost by a "
        "delay is read on straight lines between the months that were valued. The refracmc explain portfolio_files "
        "reference has the rules and the columns of all tables.",
    )
