"""The difference of two runs for a reader of the terminal."""

from __future__ import annotations

from typing import Any

from refracmc.decisions.input_changes import wells_of_changes
from refracmc.decisions.run_differences import MEASURES
from refracmc.measures import USD_WI

MOST_WELLS = 5
"""Wells of which all measures are printed; of more, the mean of each and all measures of the sum."""
MOST_INPUTS = 30
BY_LUCK = 5
"""Of 100 differences that are noise alone, so many are 2 standard errors or more (normal distribution)."""
Row = dict[str, Any]


def difference_text(content: dict[str, Any]) -> str:
    """The whole; content: see :class:`~refracmc.commands.difference.Difference`."""
    lines = [_head("before", content["before"]), _head("after", content["after"])]
    for key, words in (("wells_only_before", "only before"), ("wells_only_after", "only after")):
        if content[key]:
            lines.append(f"  wells {words}: {', '.join(content[key])}")
    lines += _inputs(content["inputs"], content["files"])
    paired = content["errors"] == "paired"
    how = "the same trials, taken trial by trial" if paired else "other trials, as of independent samples"
    lines.append(
        f"Best refrac of each well, US$ million WI; after less before ± one standard error ({how}; within noise: less "
        f"than {content['noise_standard_errors']:g} standard errors)"
    )
    lines += _values(content["differences"], len(content["wells"]))
    lines += _verdicts(content["wells"])
    return "\n".join(lines)


def _head(which: str, run: Row) -> str:
    scenario = f", scenario {run['scenario']}" if run["scenario"] else ""
    return (
        f"{which}: {run['case']}{scenario}, {run['trials']:,} trials, seed {run['seed']}, {run['design']}, release "
        f"{run['release']}: {run['folder']}"
    )


def _inputs(inputs: list[Row], files: list[Row]) -> list[str]:
    if not inputs and not files:
        return ["Inputs: no difference, nor in the files that were read"]
    lines = [f"Inputs that differ: {len({row['input'] for row in inputs}) or 'none'}"]
    grouped = wells_of_changes(inputs)
    for row in grouped[:MOST_INPUTS]:
        where = "" if row["well"] == "all" else f"{row['well']}: "
        unit = f" [{row['unit']}]" if row["unit"] else ""
        old, new = ("none" if row[key] is None else row[key] for key in ("before", "after"))
        lines.append(f"  {where}{row['input']}{unit}: {old} -> {new}")
    if len(grouped) > MOST_INPUTS:
        lines.append(f"  and {len(grouped) - MOST_INPUTS} more (--json has all)")
    if files:
        told = ", ".join(f"{row['file']} ({row['how']})" for row in files)
        lines.append(f"Files that differ: {told}")
    return lines


def _values(rows: list[Row], wells: int) -> list[str]:
    lines = []
    shown = None
    for row in rows:
        if wells > MOST_WELLS and row["well"] is not None and row["measure"] != "mean":
            continue
        name = row["well"] or "all wells"
        lines.append(
            f"  {name if name != shown else '':<14.14} {MEASURES[row['measure']][0]:<26}{_difference(row)}"
        )
        shown = name
    beyond = sum(row["within_noise"] is False for row in rows)
    if beyond:
        lines.append(
            f"{beyond} of {len(rows)} differences lie beyond noise; of 100 that are noise alone about {BY_LUCK} do"
        )
    elif rows and all(row["difference"] == 0.0 for row in rows):
        lines.append("No number differs")
    elif rows:
        lines.append(f"All {len(rows)} differences lie within noise")
    return lines


def _difference(row: Row) -> str:
    money = row["unit"] == USD_WI
    scale, digits = (1e6, 3) if money else (0.01, 1)
    old, new, gap = (row[key] / scale for key in ("before", "after", "difference"))
    error = "error not known" if row["se"] is None else f"± {row['se'] / scale:.{digits}f}"
    percent = "" if money else " %"
    if row["difference"] == 0.0:
        said = "the same"
    else:
        said = f"{gap:+.{digits}f} {error}" + (", within noise" if row["within_noise"] else "")
    return f"{old:>10.{digits}f} -> {new:>10.{digits}f}{percent:<3} {said}"


def _verdicts(wells: list[Row]) -> list[str]:
    """Verdicts and best refracs that are not the same; no reason is given, for more than one thing may have moved."""
    turned = [row for row in wells if row["verdict_turned"]]
    unknown = [
        row
        for row in wells
        if row["verdict_turned"] is None and row["verdict_before"] != row["verdict_after"]
    ]
    other = [row for row in wells if row["strategy_before"] != row["strategy_after"]]
    lines = [f"Verdicts that turned: {len(turned) or 'none'}"]
    lines += [f"  {row['well']}: {row['verdict_before']} -> {row['verdict_after']}" for row in turned]
    lines += [
        f"  {row['well']}: {row['verdict_before']} -> {row['verdict_after']}: not known whether it turned"
        for row in unknown
    ]
    if other:
        lines.append(f"Best refracs that are others: {len(other)}")
        lines += [f"  {row['well']}: {row['strategy_before']} -> {row['strategy_after']}" for row in other]
    return lines
