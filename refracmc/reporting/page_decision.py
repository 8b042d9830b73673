"""The first section of the page: the advice for every well, and the numbers it rests on."""

from __future__ import annotations

from refracmc.reporting.captions import (
    MILLION_GROSS,
    MILLION_WI,
    PERCENTILES,
    by_well,
    error_words,
    strategy_words,
)
from refracmc.reporting.page import Block, Note, Section, Table
from refracmc.reporting.page_columns import (
    Row,
    amount,
    carried_out,
    percentiles,
    share,
    strategy,
    table_of,
    text,
)
from refracmc.reporting.page_inputs import asked_table
from refracmc.reporting.rounding import MILLION, chance_error, percent, to_error
from refracmc.reporting.tables import ReportData
from refracmc.reporting.verdicts import job_starts, verdict


def _best(row: Row) -> str:
    """The best refrac in words; of a trigger with the share of trials in which it starts and its months."""
    words = strategy_words(str(row["strategy"]))
    return f"{words}: {job_starts(row)}" if isinstance(row["trigger"], str) else words


def _value_table(data: ReportData, advice: dict[str, str]) -> Table:
    columns = [
        text("Well", "well"),
        ("Verdict", lambda row: advice[row["well"]]),
        ("Best refrac tried", _best),
        amount("Mean", "mean_usd", "se_usd"),
        *percentiles("{}_usd", "se_usd"),
        share("Chance of loss", "p_loss", "p_loss_se"),
        amount(f"Mean of the worst {100 * data.facts.cvar_tail_fraction:g} %", "cvar_usd", "cvar_se_usd"),
    ]
    return table_of(
        data.tables["decision"],
        f"Incremental NPV of the best refrac of each well over doing nothing, {MILLION_WI}",
        columns,
        left=3,
        note=f"{PERCENTILES} {error_words(data.facts)} Chance of loss: worth less than doing nothing in the same "
        "trial. The best of many strategies is picked by its mean over the same trials, so that this mean is slightly "
        "flattered where strategies are close.",
    )


def _choice_table(data: ReportData) -> Table:
    def chance(row: Row, name: str) -> str:
        return percent(float(row[name]), chance_error(float(row[name]), data.facts.trials))

    def shortfall(row: Row, name: str) -> str:
        return to_error(float(row[name]), float(row["se_usd"]), MILLION, 1.0)

    columns = [
        text("Well", "well"),
        ("Refrac is best", lambda row: chance(row, "chance_of_best")),
        ("Nothing is best", lambda row: chance(row, "chance_nothing_best")),
        ("Shortfall of refrac", lambda row: shortfall(row, "opportunity_loss_usd")),
        ("Shortfall of nothing", lambda row: shortfall(row, "nothing_opportunity_loss_usd")),
        strategy("Next best refrac", "runner_up"),
        amount("Lead over it", "lead_usd", "lead_se_usd"),
    ]
    return table_of(
        data.tables["decision"],
        f"How sure the choice is, {MILLION_WI}",
        columns,
        note="Is best: share of trials in which no other strategy tried is better. Shortfall: mean distance to what "
        "would have been best in each trial, the expected opportunity loss.",
    )


def _job_table(data: ReportData) -> Table:
    columns = [
        text("Well", "well"),
        strategy("Best refrac tried"),
        amount("Days shut in", "job_days", "job_days_se", 1.0),
        amount(f"Cost, {MILLION_GROSS}", "job_cost_usd", "job_cost_se_usd"),
        carried_out("Carried out in"),
    ]
    return table_of(
        data.tables["decision"],
        "The job of the best refrac of each well",
        columns,
        left=2,
        note="Days and cost are means of the trials in which the job is carried out.",
    )


def decision_section(data: ReportData) -> Section:
    """The data's status, a verdict for each well, three tables of the decision, wells that could not be valued."""
    facts = data.facts
    blocks: list[Block] = []
    if facts.data_status != "real":
        blocks.append(Note((f"The data of this case are {facts.data_status}.",)))
    if facts.response_told:
        blocks.append(Note(facts.response_told))
    if facts.history_told:
        blocks.append(Note(by_well(facts.history_told), "What the histories leave open"))
    verdicts = [verdict(data, well) for well in data.wells]
    blocks += asked_table(data)
    blocks += [Note(v.paragraphs, v.headline, f"verdict-{v.advice.replace(' ', '-')}") for v in verdicts]
    blocks += [
        _value_table(data, {v.well: v.advice for v in verdicts}),
        _choice_table(data),
        _job_table(data),
    ]
    if facts.refused:
        blocks.append(Table("Wells that could not be valued", ("Well", "Reason"), facts.refused, left=2))
    return Section("What to decide", "decide", tuple(blocks))
