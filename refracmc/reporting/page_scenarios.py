"""What the page says of the scenarios of a case: what each changes, and the sums over wells side by side."""

from __future__ import annotations

import pandas as pd

from refracmc.decisions.input_changes import wells_of_changes
from refracmc.reporting.captions import MILLION_WI, spoken
from refracmc.reporting.page import MOST_WELLS, Block, Note, Section, Table
from refracmc.reporting.page_columns import (
    Row,
    WellTable,
    amount,
    million,
    percentiles,
    share,
    strategy,
    table_of,
    text,
    words,
)
from refracmc.reporting.rounding import MILLION, MISSING, to_error
from refracmc.reporting.tables import ReportData

OF_WELL = WellTable(
    "scenarios",
    f"The best refrac under each scenario, {MILLION_WI}",
    (
        words("Scenario", "scenario"),
        text("Verdict", "verdict"),
        strategy("Best refrac tried"),
        amount("Mean", "mean_usd", "se_usd"),
        *percentiles("{}_usd", "se_usd"),
        share("Chance of loss", "p_loss", "p_loss_se"),
        amount("Against base", "difference_usd", "difference_se_usd"),
        amount("The refrac of base", "choice_usd", "choice_se_usd"),
        amount("Regret", "regret_usd", "regret_se_usd"),
    ),
    left=3,
    note="Base is the case as it stands. All scenarios have the same trials, so that differences are known better than "
    "values. Regret: how much less the refrac that base chooses is worth than the best one under the scenario.",
)
"""The table of one well."""
_CHOSEN = "refracture"


def scenario_section(data: ReportData) -> Section | None:
    """What each scenario changes and the sums over wells under it; None for a case without scenarios."""
    if "scenario_inputs" not in data.tables:
        return None
    blocks: list[Block] = []
    if "scenario_totals" in data.tables:
        blocks.append(_totals(data.tables["scenario_totals"]))
    if "scenarios" in data.tables:
        blocks.append(_by_well(data.tables["scenarios"], len(data.wells) > MOST_WELLS))
    blocks += [
        _changes(data.tables["scenario_inputs"]),
        Note(("Each scenario has its own folder with summary and tables: scenarios/*/.",)),
    ]
    return Section("Scenarios", "scenarios", tuple(blocks))


def _changes(rows: pd.DataFrame) -> Table:
    """Inputs that scenarios change; wells with the same change stand together."""
    known = rows.astype(object).where(rows.notna(), None).to_dict("records")
    grouped = wells_of_changes([{str(key): value for key, value in row.items()} for row in known])
    return table_of(
        pd.DataFrame(grouped),
        "What the scenarios change",
        (
            words("Scenario", "scenario"),
            text("Wells", "well"),
            text("Input", "input"),
            text("Unit", "unit"),
            text("In the case", "before"),
            text("Under the scenario", "after"),
        ),
        left=6,
    )


def _by_well(rows: pd.DataFrame, collapsed: bool) -> Table:
    """Verdict and mean of each well under each scenario; a verdict that base does not have is bold."""
    found = {(row["well"], row["scenario"]): row for row in rows.to_dict("records")}
    wells, names = list(dict.fromkeys(rows["well"])), list(dict.fromkeys(rows["scenario"]))
    cells, strong = [], set()
    for k, well in enumerate(wells):
        of_well = [found.get((well, name)) for name in names]
        cells.append(
            (
                str(well),
                *(
                    MISSING if row is None else f"{row['verdict']}, {million(row['mean_usd'], row['se_usd'])}"
                    for row in of_well
                ),
            )
        )
        verdicts = [None if row is None else row["verdict"] for row in of_well]
        strong |= {(k, 1 + at) for at, one in enumerate(verdicts) if one not in (None, verdicts[0])}
    return Table(
        f"Verdict on each well under each scenario, and the mean of its best refrac there, {MILLION_WI}",
        ("Well", *(spoken(str(name)) for name in names)),
        tuple(cells),
        left=1 + len(names),
        collapsed=collapsed,
        strong=frozenset(strong),
        note="Bold: not the verdict of base; it may be that it is not told apart.",
    )


def _totals(rows: pd.DataFrame) -> Table:
    """Jobs, capital and value of the wells to refracture under each scenario, and of all wells."""
    found = {(row["scenario"], row["jobs"], row["measure"]): row for row in rows.to_dict("records")}

    def cells(scenario: str, jobs: str) -> tuple[str, ...]:
        capital = found.get((scenario, jobs, "capex"))
        gain = found.get((scenario, jobs, "incremental_npv"))
        if capital is None or gain is None:
            return ("0", *[MISSING] * 5)
        return str(gain["wells"]), _amount(capital), _amount(gain), *_triple(gain)

    head = ("wells", "capital", "mean", "P90", "P50", "P10")
    return Table(
        f"Sums over wells under each scenario, {MILLION_WI}",
        ("Scenario", *(f"Refracture: {name}" if k == 0 else name for k, name in enumerate(head)),
         *(f"All: {name}" if k == 0 else name for k, name in enumerate(head))),
        tuple(
            (spoken(str(name)), *cells(name, _CHOSEN), *cells(name, "all"))
            for name in dict.fromkeys(rows["scenario"])
        ),
        note="Refracture: the best refracs of the wells with that verdict under the scenario. All: of every well. "
        "Value is incremental NPV over doing nothing, summed trial by trial.",
    )  # fmt: skip


def _amount(row: Row) -> str:
    return million(row["mean"], row["se"])


def _triple(row: Row) -> tuple[str, ...]:
    return tuple(to_error(row[p], row[f"{p}_se"], MILLION, 1.0) for p in ("p90", "p50", "p10"))
