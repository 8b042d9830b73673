"""Stage orders searched for one well: a table, a chart, and the four named orders beside what was found."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from refracmc.case import units
from refracmc.case.load import load_case
from refracmc.commands.chosen_well import plan_of, refuse
from refracmc.commands.output_folders import check_folder, make_folder
from refracmc.csv_text import csv_text
from refracmc.decisions.order_search import Search, search_orders
from refracmc.job.sleeves import PlanRefused
from refracmc.whole_file import write_whole

MOST_SLEEVES_SHOWN = 14


@dataclass(frozen=True)
class OrdersReport:
    """What the search found: rows of the table, where it was written, and the text for a reader."""

    table: pd.DataFrame
    folder: Path
    text: str


def table_of(search: Search) -> pd.DataFrame:
    """One row per order judged, highest value first."""
    return pd.DataFrame(
        [
            {
                "well": search.well,
                "date": search.date,
                "order": one.found.label,
                "on_front": one.on_front,
                "incremental_npv_usd": one.value_usd,
                "incremental_npv_se_usd": one.value_se_usd,
                "gain_over_best_named_usd": one.gain_usd,
                "gain_se_usd": one.gain_se_usd,
                "job_days": one.days,
                "job_days_se": one.days_se,
                "exposed_stages": one.exposure,
                "stages_effective_fraction": one.effective_share,
                "planned_shifts": one.found.shifts,
                "sleeves": " ".join(map(str, one.found.sleeves)),
            }
            for one in search.judged
        ]
    )


def _text(search: Search, table: pd.DataFrame) -> str:
    how = (
        "all orders there are"
        if search.complete
        else "families of orders and a local search; no proof of an optimum"
    )
    lines = [
        f"{search.well}, job in {search.date}: {len(search.tried)} orders valued ({how})",
        f"  {'order':<28}{'front':>6}{'value, US$ million WI':>24}{'over best named, US$ thousand WI':>34}{'days':>8}"
        f"{'exposed':>9}{'effective':>11}{'shifts':>8}",
    ]
    for _, row in table.iterrows():
        value = f"{row['incremental_npv_usd'] / 1e6:.3f} ± {row['incremental_npv_se_usd'] / 1e6:.3f}"
        gain = f"{row['gain_over_best_named_usd'] / 1e3:.1f} ± {row['gain_se_usd'] / 1e3:.1f}"
        lines.append(
            f"  {row['order']:<28}{'yes' if row['on_front'] else 'no':>6}{value:>24}{gain:>34}{row['job_days']:>8.2f}"
            f"{row['exposed_stages']:>9.2f}{row['stages_effective_fraction']:>11.1%}{row['planned_shifts']:>8}"
        )
    best = search.judged[0].found
    shown = " ".join(map(str, best.sleeves[:MOST_SLEEVES_SHOWN]))
    more = " ..." if len(best.sleeves) > MOST_SLEEVES_SHOWN else ""
    lines += [
        f"  highest value: {shown}{more}",
        "Values are means over trials kept apart from the search, ± one standard error; the difference is taken trial "
        "by trial. Front: no other order is as good in value, days and exposure, and better in one. Exposed: expected "
        "stages treated below a sleeve that failed to reclose. Effective: mean effectiveness of the planned stages.",
    ]
    return "\n".join(lines)


def find_orders(
    path: str | Path,
    *,
    well: str,
    date: str | None = None,
    budget: int = 600,
    out: str | Path = "outputs",
    trials: int | None = None,
    seed: int | None = None,
) -> OrdersReport:
    """Search the orders of one well at one date (the case's first by default); writes OUT/<case name>/orders/.

    budget: orders valued in the search. Raises InputError where the well, date or budget cannot be used.
    """
    from refracmc.reporting.charts_order_search import draw_order_search

    case = load_case(path).with_sampling(trials, seed)
    plan = plan_of(case, well)
    chosen = date if date is not None else plan.dated[0].date
    where = case.path.name
    try:
        month = units.months_between(case.valuation.date, chosen)
    except ValueError:
        raise refuse(f"{where}: --date", f"'{chosen}'", "a month YYYY-MM", "write it like 2027-01") from None
    if not 0 <= month < case.valuation.horizon_months:
        ends = units.month_text(units.month_number(case.valuation.date) + case.valuation.horizon_months - 1)
        allowed = f"a month within the horizon, {case.valuation.date} to {ends}"
        raise refuse(f"{where}: --date", chosen, allowed, "choose another month")
    if not 0 <= budget <= 100_000:
        raise refuse(f"{where}: --budget", str(budget), "0 to 100,000 orders", "choose another budget")
    folder = Path(out) / case.name / "orders"
    check_folder(folder, Path(out))
    try:
        search = search_orders(plan, chosen, budget)
    except PlanRefused as error:
        raise refuse(
            f"{where}: wells.{well}", str(error), "a job that can be carried out", "see check"
        ) from None
    table = table_of(search)
    make_folder(folder)
    name = f"orders-{well}-{chosen}"
    write_whole(folder / f"{name}.csv", csv_text(table))
    draw_order_search(search, folder / name)
    text = _text(search, table)
    if plan.well.settings.strategies.sizes:
        text += "\nAll at the reference size of the job ([job.size])."
    return OrdersReport(table, folder, text)
