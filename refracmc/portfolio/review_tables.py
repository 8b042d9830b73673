"""Rows of the tables of a review; what the columns mean stands in :mod:`refracmc.reporting.columns_portfolio`."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from refracmc.case import units
from refracmc.portfolio.choice_problem import Array, Whole
from refracmc.portfolio.limits import month_text
from refracmc.portfolio.review import Review, Row
from refracmc.sampling import estimators

_PERCENTILES = ("p90", "p90_se", "p50", "p50_se", "p10", "p10_se")
BEST = "best choice by mean"


def review_rows(review: Review) -> dict[str, list[Row]]:
    """Rows of all tables by key."""
    found = {
        "portfolio": portfolio_rows(review),
        "schedule": schedule_rows(review),
        "front": front_rows(review),
        "worth": worth_rows(review),
        "rankings": ranking_rows(review),
        "years": year_rows(review),
    }
    return found | ({"regret": [dict(row) for row in review.regret]} if review.regret else {})


def _spread(review: Review, values: Array) -> dict[str, float]:
    """Mean, percentiles and their errors of trials (n,)."""
    found = estimators.summarise(values, review.run.sizes, review.run.design)
    return {name: float(found[name]) for name in ("mean", "se", *_PERCENTILES)}


def _mean(review: Review, values: Array) -> tuple[float, float]:
    found = estimators.mean_with_error(values, review.run.sizes, review.run.design)
    return float(found.value), float(found.se)


def _chance(review: Review, values: Array, below: float) -> tuple[float, float]:
    found = estimators.chance_below(values, below, review.run.sizes, review.run.design)
    return float(found.value), float(found.se)


def _named(names: Iterable[str]) -> str | None:
    return "; ".join(names) or None


def capital_of(review: Review, chosen: Whole) -> float:
    """Mean capital of jobs, pad savings taken off [US$ WI]."""
    spent = float(review.jobs.capital[chosen].sum())
    return spent - sum(saved for _, saved in saved_capital(review, chosen))


def saved_capital(review: Review, chosen: Whole) -> list[tuple[int, float]]:
    """Month and capital [US$ WI] of the mobilisations that jobs save."""
    choice, jobs = review.choice, review.jobs
    count = choice.saved_mobilisations(chosen)
    return [
        (int(jobs.month[choice.groups[k][0]]),
         float(count[k] * jobs.saving_usd[np.unique(jobs.owner[choice.groups[k]])].mean()))
        for k in np.flatnonzero(count)
    ]  # fmt: skip


def portfolio_rows(review: Review) -> list[Row]:
    """A row for each well and each other project: the chosen by month, then those left out by value."""
    jobs = review.jobs
    slots = {int(review.own.chosen[at]): k for k, at in enumerate(review.calendar.order)}
    rows: list[tuple[tuple[float, ...], Row]] = []
    for owner, name in enumerate(jobs.owners):
        its = np.flatnonzero(jobs.owner == owner)
        job = review.chosen_of.get(owner)
        shown = job if job is not None else (int(its[np.argmax(jobs.value[its])]) if len(its) else None)
        row: Row = {
            "well": name,
            "kind": "well" if owner < jobs.wells else "other",
            "pad": jobs.pads[owner] or None,
            "chosen": job is not None,
            "reason": _reason(review, owner, its),
            **_figures(review, shown),
            **_of_calendar(review, None if job is None else slots[job]),
            "chosen_share": float(review.resampled.owners[owner]) if review.resampled.done else None,
            "same_job_share": _same_job(review, job),
        }
        place = (0.0, float(slots[job])) if job is not None else (1.0, -float(row["mean_usd"] or -np.inf))
        rows.append((place, row))
    made = [row for _, row in sorted(rows, key=lambda item: item[0])]
    return [*made, *(_refused_row(name, why) for name, why in sorted(review.run.refused.items()))]


def _same_job(review: Review, job: int | None) -> float | None:
    return None if job is None or not review.resampled.done else float(review.resampled.jobs[job])


def _refused_row(name: str, why: str) -> Row:
    empty: Row = dict.fromkeys((*_FIGURES, *_CALENDAR, "pad", "chosen_share", "same_job_share"))
    return {**empty, "well": name, "kind": "well", "chosen": False, "reason": f"not valued: {why}"}


_FIGURES = (
    "order", "month", "capital_usd", "capital_se_usd", "mean_usd", "se_usd", "p90_usd", "p90_se_usd", "p50_usd",
    "p50_se_usd", "p10_usd", "p10_se_usd", "p_loss", "p_loss_se", "days", "days_se",
)  # fmt: skip
_CALENDAR = ("ct_crew", "frac_crew", "chance_of_slip", "slip_days", "slip_cost_usd")


def _figures(review: Review, job: int | None) -> Row:
    """What one job is worth, costs and takes."""
    if job is None:
        return dict.fromkeys(_FIGURES)
    jobs = review.jobs
    values = jobs.values(job)
    spread = _spread(review, values)
    capital, days = _mean(review, jobs.values(job, "capex")), _mean(review, jobs.values(job, "job_days"))
    loss = _chance(review, values, 0.0)
    percentiles = [spread[name] for name in _PERCENTILES]
    month = month_text(review.run, int(jobs.month[job]))
    figures = (
        jobs.orders[job], month, *capital, spread["mean"], spread["se"], *percentiles, *loss, *days
    )  # fmt: skip
    return dict(zip(_FIGURES, figures, strict=True))


def _of_calendar(review: Review, slot: int | None) -> Row:
    if slot is None:
        return dict.fromkeys(_CALENDAR)
    calendar, slips = review.calendar, review.slips
    figures = (
        int(calendar.ct_crew[slot]) or None,
        int(calendar.frac_crew[slot]) or None,
        *(float(values[slot].mean()) for values in (slips.past_month, slips.days, slips.cost)),
    )
    return dict(zip(_CALENDAR, figures, strict=True))


def _reason(review: Review, owner: int, its: Whole) -> str:
    """Why an owner has a job chosen, or none."""
    jobs, choice, name = review.jobs, review.choice, review.jobs.owners[owner]
    if owner in review.chosen_of:
        return "must be done" if owner in choice.must else "chosen"
    if name in review.settings.must_not:
        return "asked to be left"
    if not len(its):
        return "no job of a fixed date to offer"
    best = int(its[np.argmax(jobs.value[its])])
    if jobs.value[best] <= 0.0:
        return "loses on average in every month offered"
    room = [int(job) for job in its if jobs.value[job] > 0.0 and not _short(review, int(job))]
    if not room:
        return f"no room: its best job would break {_shortened(_short(review, best))}"
    if review.settings.risk_weight > 0.0:
        return "adds more risk than it is worth at this risk weight"
    return "fits and gains, and less than the choice may be off the best"


def _shortened(names: list[str], most: int = 3) -> str:
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")


def _short(review: Review, job: int) -> list[str]:
    """Limits that the choice would break with one more job."""
    more = np.append(review.own.chosen, job)
    return [
        x.name for x in review.choice.limits
        if review.choice.used(x, more) > x.most + 1e-9 * max(1.0, abs(x.most))
    ]  # fmt: skip


def schedule_rows(review: Review) -> list[Row]:
    """The chosen jobs in the order in which they begin."""
    calendar, slips, jobs = review.calendar, review.slips, review.jobs
    working = review.settings.working_days_per_month
    rows = []
    for slot, at in enumerate(calendar.order):
        job = int(review.own.chosen[at])
        owner, first = int(jobs.owner[job]), jobs.month[job] * working
        start = np.quantile(calendar.start[slot] - first, [0.1, 0.5, 0.9])
        row: Row = {
            "well": jobs.owners[owner],
            "pad": jobs.pads[owner] or None,
            "order": jobs.orders[job],
            "month": month_text(review.run, int(jobs.month[job])),
            "ct_crew": int(calendar.ct_crew[slot]) or None,
            "frac_crew": int(calendar.frac_crew[slot]) or None,
            "planned_start_day": float(calendar.planned_start[slot] - first),
            "planned_days": float(calendar.planned_end[slot] - calendar.planned_start[slot]),
            **dict(zip(("start_p90_day", "start_p50_day", "start_p10_day"), map(float, start), strict=True)),
        }
        for name, values in (
            ("chance_of_slip", slips.past_month),
            ("slip_days", slips.days),
            ("slip_cost", slips.cost),
        ):
            mean, error = _mean(review, values[slot])
            money = "_usd" if name == "slip_cost" else ""
            row |= {f"{name}{money}": mean, f"{name}_se{money}": error}
        rows.append((float(calendar.planned_start[slot]), row))
    ordered = sorted(rows, key=lambda item: item[0])
    return [{"place": place, **row} for place, (_, row) in enumerate(ordered, start=1)]


def front_rows(review: Review) -> list[Row]:
    """The choices of the efficient front by rising risk weight."""
    jobs, target = review.jobs, review.settings.target_usd
    own = set(jobs.owner[review.own.chosen].tolist())
    rows = []
    for weight, scored in review.front:
        spread, its = _spread(review, scored.outcomes), set(jobs.owner[scored.chosen].tolist())
        tail = estimators.cvar_with_error(
            scored.outcomes, review.run.tail_fraction, review.run.sizes, review.run.design
        )
        missed = (None, None) if target is None else _chance(review, scored.outcomes, target)
        rows.append(
            {
                "risk_weight": weight,
                "is_choice": scored is review.own,
                "jobs": len(scored.chosen),
                "capital_usd": capital_of(review, scored.chosen),
                "mean_usd": spread["mean"],
                "se_usd": spread["se"],
                "cvar_usd": float(tail.value),
                "cvar_se_usd": float(tail.se),
                **{f"{name}_usd": spread[name] for name in ("p90", "p50", "p10")},
                "p_loss": _chance(review, scored.outcomes, 0.0)[0],
                "target_usd": target,
                "chance_of_target": None if missed[0] is None else 1.0 - missed[0],
                "chance_of_target_se": missed[1],
                "gap_usd": scored.bound - scored.objective,
                "comes": _named(jobs.owners[k] for k in sorted(its - own)),
                "goes": _named(jobs.owners[k] for k in sorted(own - its)),
            }
        )
    return rows


def worth_rows(review: Review) -> list[Row]:
    """What more of the limits is worth."""
    return [
        {
            "what": item.what,
            "gain_usd": item.gain_usd,
            "most_usd": item.most_usd,
            "comes": _named(item.comes),
            "goes": _named(item.goes),
        }
        for item in review.worth
    ]


def ranking_rows(review: Review) -> list[Row]:
    """The best choice by mean value and the plain rankings."""
    choice, best = review.choice, review.by_mean.objective
    rows = []
    for name, chosen in ((BEST, review.by_mean.chosen), *review.ranked.items()):
        value = choice.worth(chosen)
        below = best - value if abs(best - value) > 1e-9 * abs(best) else 0.0
        short = below / abs(best) if best else 0.0
        fits = choice.fits(chosen)
        rows.append(
            {
                "way": name,
                "jobs": len(chosen),
                "mean_usd": value,
                "capital_usd": capital_of(review, chosen),
                "shortfall_usd": below,
                "shortfall": short,
                "is_as_good": bool(fits and short <= review.settings.gap + 1e-12),
                "fits": fits,
            }
        )
    return rows


def year_rows(review: Review) -> list[Row]:
    """Capital and value by the calendar year in which jobs begin."""
    jobs, chosen = review.jobs, review.own.chosen
    first = units.month_number(review.run.valuation_month)
    years = (first + jobs.month[chosen]) // 12
    saved: dict[int, float] = {}
    for month, usd in saved_capital(review, chosen):
        saved[(first + month) // 12] = saved.get((first + month) // 12, 0.0) + usd
    limits = {int(year): usd for year, usd in review.settings.capital_by_year.items()}
    rows = []
    for year in sorted({*years.tolist(), *limits}):
        its = chosen[years == year]
        spent = _spread(review, jobs.summed(its, "capex") - saved.get(year, 0.0))
        value = _spread(review, jobs.summed(its))
        names = ("p90", "p50", "p10")
        row: dict[str, Any] = {"year": year, "jobs": len(its), "capital_usd": spent["mean"]}
        row |= {"limit_usd": limits.get(year), **{f"capital_{name}_usd": spent[name] for name in names}}
        rows.append({**row, "mean_usd": value["mean"], **{f"{name}_usd": value[name] for name in names}})
    return rows
