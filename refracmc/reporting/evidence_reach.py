"""Force at the tool as a table of the page."""

from __future__ import annotations

from refracmc.reporting.numbers import fixed, percent
from refracmc.reporting.parts import Table
from refracmc.reporting.tables import ReportData

_PERCENTS = ("p90", "p50", "p10")


def reach_table(data: ReportData, well: str) -> Table | None:
    """Force at the tool by sleeve, and the share of trials in which it is enough."""
    rows = data.of_well("reach", well)
    if rows.empty:
        return None
    body = tuple(
        (
            str(r["sleeve"]),
            fixed(float(r["depth_ft"]), 0),
            *(
                fixed(round(float(r[f"{name}_{p}_lbf"]), -1), 0)
                for name in ("push", "pull")
                for p in _PERCENTS
            ),
            percent(float(r["reached_share"]), float(r["reached_share_se"])),
            "yes" if r["planned"] else "beyond reach",
        )
        for _, r in rows.iterrows()
    )
    needed = " / ".join(fixed(round(float(rows[f"needed_{p}_lbf"].iloc[0]), -1), 0) for p in _PERCENTS)
    return Table(
        "Force at the tool of the coiled tubing by sleeve, lbf",
        (
            "Sleeve",
            "Depth, ft",
            "Push P90",
            "P50",
            "P10",
            "Pull P90",
            "P50",
            "P10",
            "Trials with enough",
            "Planned",
        ),
        body,
        collapsed=True,
        note=f"Force that shifts a sleeve: {needed} lbf (P90 / P50 / P10). A screen, not a design; see the cautions at "
        "the end of the page. Sleeves beyond reach stay as they are.",
    )
