"""What stands in the sections of the page, built from the checked tables.

Order: what to decide, evidence per well, inputs and assumptions, method, cautions. A later section is one
more function in :func:`all_sections`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from refracmc.reporting.evidence import Drawn, evidence, million
from refracmc.reporting.numbers import (
    MILLION,
    MISSING,
    chance_error,
    percent,
    share_done,
    to_error,
    with_error,
)
from refracmc.reporting.parts import MOST_WELLS, Note, Part, Section, Table
from refracmc.reporting.tables import ReportData
from refracmc.reporting.words import PERCENTILES, executed, money_basis, spoken, strategy_words, verdict

_ADVICE = {"refracture": "refracture", "leave": "leave it", "undecided": "too close to call"}


def _strategy(row: pd.Series) -> str:
    """The best refrac in words; of a trigger with the share of trials in which it starts and its months."""
    words = strategy_words(str(row["strategy"]))
    return f"{words}: {executed(row)}" if isinstance(row["trigger"], str) else words


def _value_table(data: ReportData, advice: list[str]) -> Table:
    rows = []
    for told, (_, d) in zip(advice, data.tables["decision"].iterrows(), strict=True):
        se = float(d["se_usd"])
        rows.append(
            (
                str(d["well"]),
                _ADVICE[told],
                _strategy(d),
                million(d["mean_usd"], se),
                *(to_error(float(d[f"{p}_usd"]), se, MILLION) for p in ("p90", "p50", "p10")),
                percent(float(d["p_loss"]), float(d["p_loss_se"])),
                million(d["cvar_usd"], d["cvar_se_usd"]),
            )
        )
    worst = f"{100 * data.facts.cvar_tail_fraction:g} %"
    head = ("Well", "Advice", "Best refrac tried", "Mean", "P90", "P50", "P10", "Chance of loss")
    return Table(
        "Incremental NPV of the best refrac of each well over doing nothing, US$ million",
        (*head, f"Mean of the worst {worst}"),
        tuple(rows),
        left=3,
        note=f"{PERCENTILES} ± is one standard error. Chance of loss: worth less than doing "
        "nothing in the same "
        "trial. The best of many strategies is picked by its mean over the same trials, so that this mean is "
        "slightly flattered where strategies are close.",
    )


def _choice_table(data: ReportData) -> Table:
    rows = []
    for _, d in data.tables["decision"].iterrows():
        se, trials = float(d["se_usd"]), data.facts.trials
        chances = [float(d[c]) for c in ("chance_of_best", "chance_nothing_best")]
        rows.append(
            (
                str(d["well"]),
                *(percent(c, chance_error(c, trials)) for c in chances),
                to_error(float(d["opportunity_loss_usd"]), se, MILLION, 1.0),
                to_error(float(d["nothing_opportunity_loss_usd"]), se, MILLION, 1.0),
                strategy_words(str(d["runner_up"])) if isinstance(d["runner_up"], str) else MISSING,
                million(d["lead_usd"], d["lead_se_usd"]),
            )
        )
    head = ("Well", "Refrac is best", "Nothing is best", "Shortfall of refrac", "Shortfall of nothing")
    return Table(
        "How sure the choice is, US$ million",
        (*head, "Next best refrac", "Lead over it"),
        tuple(rows),
        note="Is best: share of trials in which no other strategy tried is better. Shortfall: "
        "mean distance to what "
        "would have been best in each trial, the expected opportunity loss.",
    )


def _job_table(data: ReportData) -> Table:
    rows = [
        (
            str(d["well"]),
            strategy_words(str(d["strategy"])),
            with_error(float(d["job_days"]), float(d["job_days_se"])),
            million(d["job_cost_usd"], d["job_cost_se_usd"]),
            share_done(float(d["executed_share"])),
        )
        for _, d in data.tables["decision"].iterrows()
    ]
    head = ("Well", "Best refrac tried", "Days shut in", "Cost, US$ million", "Carried out in")
    return Table("The job of the best refrac of each well", head, tuple(rows), left=2)


def _decide(data: ReportData) -> Section:
    facts = data.facts
    parts: list[Part] = []
    if facts.data_status != "real":
        parts.append(Note((f"The data of this case are {facts.data_status}.",)))
    verdicts = [verdict(data, well) for well in data.wells]
    parts += [Note((v.value, v.timing), v.headline, f"verdict-{v.advice}") for v in verdicts]
    parts += [_value_table(data, [v.advice for v in verdicts]), _choice_table(data)]
    parts.append(_job_table(data))
    if facts.refused:
        parts.append(Table("Wells that could not be valued", ("Well", "Reason"), facts.refused, left=2))
    return Section("What to decide", "decide", tuple(parts))


def _input_tables(rows: pd.DataFrame) -> list[Part]:
    """What the case states, open where it is short, and below it, folded, what is left at its default.

    Well: "all" shares one value or one draw; "each" has a draw of its own from the same distribution.
    """
    names = ("Well", "Input", "Unit", "Value or distribution", "Source", "Assumption")
    stated = rows["stated"].to_numpy(dtype=bool)
    parts: list[Part] = []
    wells = len(rows["well"].dropna().unique())
    for title, part, folded in (
        ("Inputs that the case states", rows[stated], int(stated.sum()) > 60),
        ("Inputs left at their defaults", rows[~stated], True),
    ):
        of: dict[tuple[str, ...], list[str]] = {}
        for well, *told, assumed, _ in part.itertuples(index=False):
            holder = "all" if well is None or well != well else str(well)
            of.setdefault((*map(str, told), "yes" if assumed else "no"), []).append(holder)
        first = {name: k for k, name in enumerate(dict.fromkeys(told[0] for told in of))}
        body = tuple(
            (well, *told)
            for told, holders in sorted(of.items(), key=lambda item: first[item[0][0]])
            for well in (["each"] if 1 < wells == len(holders) else holders)
        )
        if body:
            parts.append(Table(title, names, body, left=6, collapsed=folded))
    return parts


def _inputs(data: ReportData) -> Section | None:
    parts: list[Part] = []
    if "inputs" in data.tables:
        rows = data.tables["inputs"]
        assumed = int(rows["is_assumption"].sum())
        said = [f"{assumed} of the {len(rows)} inputs are assumptions without a source."]
        moving = data.tables["tornado"]["input"].unique() if "tornado" in data.tables else np.array([])
        flags = {str(v): bool(f) for v, f in zip(rows["variable"], rows["is_assumption"], strict=True)}
        known = [str(name) for name in moving if str(name) in flags]
        if known:
            count = sum(flags[name] for name in known)
            said.append(
                f"Of the {len(known)} inputs in the charts of single inputs, those that move the value, "
                f"{count} are assumptions."
            )
        parts.append(Note(tuple(said)))
        parts += _input_tables(rows)
    if "cleaning" in data.tables:
        body = tuple(
            (
                str(w),
                str(s),
                str(r),
                str(m),
                MISSING if pd.isna(a) else str(a),
                MISSING if pd.isna(z) else str(z),
            )
            for w, s, r, m, a, z in data.tables["cleaning"].itertuples(index=False)
        )
        parts.append(
            Table(
                "Months of the history used and dropped",
                ("Well", "Months are", "Why", "Months", "First", "Last"),
                body,
                left=3,
            )
        )
    return Section("Inputs and assumptions", "inputs", tuple(parts)) if parts else None


def _method(data: ReportData) -> Section:
    f = data.facts
    blocks = f" in {f.blocks:,} blocks" if f.blocks else ""
    files = ", ".join(key for key in data.tables if key != "summary")
    version = f" Made with version {f.version}." if f.version else ""
    paragraphs = (
        f"{f.trials:,} trials{blocks} by {spoken(f.design)} sampling, seed {f.seed}. Every "
        "strategy, doing nothing "
        "included, is valued on the same trials, and each difference is taken trial by trial.",
        f"Money is {money_basis(f)}, mid-month discounting, horizon {f.horizon_months} months. Price model: "
        f"{spoken(f.price_model)}.",
        "In each trial the decline is drawn from the joint posterior of the well's own history "
        "(or from its stated "
        "type curve), the job is simulated sleeve by sleeve with its failures, and the treated "
        "stages add a stream "
        "to what is kept of the old one. Both branches run to their economic limit and are abandoned there.",
        f"{PERCENTILES} This holds for costs and days too. Numbers are shown only to the digits that their "
        "standard error supports. An outcome that is undefined in a trial is counted and shown. Standard errors are "
        "conditional on the fitted posterior.",
        f"Files: summary.csv and .parquet; in tables/: {files}.{version}",
    )
    return Section("Method", "method", (Note((*paragraphs, *f.notes)),))


def _cautions() -> Section:
    first = (
        "Pressure, coiled-tubing work and well control defer to local codes, to the operator's "
        "procedures and to "
        "licensed engineers."
    )
    second = "This is a screening study. It is not a reserves statement and not investment advice."
    return Section("Cautions", "cautions", (Note((first, second), kind="caution"),))


def all_sections(data: ReportData, drawn: Drawn) -> tuple[Section, ...]:
    """All sections of the page in their order; ``drawn``: SVG texts by (chart key, well id), may be empty."""
    wells = data.wells
    sections: list[Section | None] = [_decide(data)]
    sections += [evidence(data, drawn, well, f"well-{k + 1}") for k, well in enumerate(wells[:MOST_WELLS])]
    if len(wells) > MOST_WELLS:
        text = f"Charts and tables of the other {len(wells) - MOST_WELLS} wells are in charts/ and tables/."
        sections.append(Section("Evidence: further wells", "further", (Note((text,)),)))
    sections += [_inputs(data), _method(data), _cautions()]
    return tuple(section for section in sections if section is not None)
