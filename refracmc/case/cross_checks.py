"""Checks between sections and files: dates, orders, correlations, type curve, intensity."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from refracmc.case import units
from refracmc.case.faults import KeyPath, nearest, path_text
from refracmc.case.job_section import Job
from refracmc.case.offset_section import OffsetWells
from refracmc.case.response_section import Response
from refracmc.case.shared_sections import Dependence, Valuation
from refracmc.case.strategies import Strategies
from refracmc.case.uncertain_inputs import is_shared, variable_names
from refracmc.case.well_sections import Completion, TypeCurve
from refracmc.case.well_strategies import job_reach_ft, method_plan, order_sleeves
from refracmc.errors import Fault
from refracmc.job.orders import NAMED_ORDERS
from refracmc.job.sleeves import PlanRefused, Tally

MIN_MONTHS_AFTER_REFRAC = 12


def date_faults(
    strategies: Strategies,
    valuation: Valuation,
    file: str,
    prefix: KeyPath,
    keys: Iterable[str] = ("dates", "triggers"),
) -> list[Fault]:
    """Refrac dates before the valuation date or too close to the horizon, and triggers that can never fire.

    keys: of the two, those that are looked at: a well does not tell what the general section told.
    """
    where = f"{file}: {path_text((*prefix, 'dates'))}"
    start = units.month_number(valuation.date)
    faults = []
    months = strategies.months if "dates" in keys else ()
    early = [m for m in months if units.month_number(m) < start]
    if early:
        allowed = f"months from the valuation date {valuation.date} on"
        faults.append(Fault(where, f"the refrac date {', '.join(early[:6])}", allowed, "take later dates"))
    last = start + valuation.horizon_months - MIN_MONTHS_AFTER_REFRAC
    late = [m for m in months if units.month_number(m) > last]
    if late:
        found = f"the refrac date {', '.join(late[:6])} with a horizon of {valuation.horizon_months} months"
        allowed = f"up to {units.month_text(last)}: {MIN_MONTHS_AFTER_REFRAC} months before the horizon ends"
        faults.append(Fault(where, found, allowed, "raise valuation.horizon_months or take earlier dates"))
    opens, ends = start + 1, start + valuation.horizon_months - 1
    for name, trigger in strategies.triggers.items() if "triggers" in keys else ():
        if units.month_number(trigger.latest) < opens or units.month_number(trigger.earliest) > ends:
            found = f"a window from {trigger.earliest} to {trigger.latest}, in which it can never fire"
            allowed = (
                f"a month from {units.month_text(opens)}, the one after the valuation date, to "
                f"{units.month_text(ends)}, the end of the horizon"
            )
            place = f"{file}: {path_text((*prefix, 'triggers', name))}"
            faults.append(Fault(place, found, allowed, "move earliest or latest"))
    return faults


def dependence_faults(dependence: Dependence, file: str) -> list[Fault]:
    """Unknown names, mixed scopes, doubled pairs, and matrices that are not positive definite."""
    faults: list[Fault] = []
    names = variable_names()
    seen: set[frozenset[str]] = set()
    groups: dict[bool, list[tuple[str, str, float]]] = {True: [], False: []}
    for k, pair in enumerate(dependence.pairs):
        where = f"{file}: dependence.pairs[{k + 1}]"
        unknown = [(key, name) for key, name in (("a", pair.a), ("b", pair.b)) if name not in names]
        for key, name in unknown:
            remedy = nearest(name, names) or "write the key path of a number that may be uncertain"
            faults.append(
                Fault(f"{where}.{key}", f"the input {name!r}", "key paths as response.uplift", remedy)
            )
        if unknown:
            continue
        both = frozenset((pair.a, pair.b))
        if len(both) == 1:
            faults.append(Fault(where, f"{pair.a!r} with itself", "two inputs", "name two different inputs"))
        elif both in seen:
            faults.append(
                Fault(where, f"{pair.a} and {pair.b} again", "each pair once", "remove one of the two")
            )
        elif is_shared(pair.a) != is_shared(pair.b):
            mine, theirs = (pair.a, pair.b) if is_shared(pair.a) else (pair.b, pair.a)
            found = f"{mine}, which all wells share, with {theirs}, which each well draws"
            faults.append(Fault(where, found, "two inputs of one scope", "correlate inputs of one scope"))
        else:
            groups[is_shared(pair.a)].append((pair.a, pair.b, pair.rank_correlation))
        seen.add(both)
    for pairs in groups.values():
        faults += _matrix_faults(pairs, file)
    return faults


def _matrix_faults(pairs: list[tuple[str, str, float]], file: str) -> list[Fault]:
    if not pairs:
        return []
    import numpy as np

    from refracmc.sampling.dependence import check_correlation

    names = sorted({name for a, b, _ in pairs for name in (a, b)})
    matrix = np.eye(len(names))
    for a, b, value in pairs:
        i, j = names.index(a), names.index(b)
        matrix[i, j] = matrix[j, i] = value
    try:
        check_correlation(matrix, names)
    except ValueError as problem:
        allowed = "a positive definite correlation matrix"
        found = str(problem).removeprefix("rank correlations: ").removeprefix("found ")
        return [Fault(f"{file}: dependence.pairs", found, allowed, "take the nearest valid values")]
    return []


def month_of(date: Any) -> int:
    """Month number of a date of a history."""
    return int(date.astype("datetime64[M]").astype(int)) + 1970 * 12


def order_faults(
    strategies: Strategies,
    tally: Tally | None,
    reach_ft: float | None,
    well: str,
    file: str,
    prefix: KeyPath,
) -> list[Fault]:
    """Orders that a well cannot carry out: sleeves it does not have, or a broken uphole rule."""
    from refracmc.job.planner import plan

    faults: list[Fault] = []
    if tally is None:
        return faults
    reach_ft = job_reach_ft(strategies, tally, reach_ft)
    known = {*NAMED_ORDERS, *strategies.custom_orders}
    for name in [name for name in strategies.orders if name in known]:
        custom = name in strategies.custom_orders
        if custom and not _each_once(strategies.custom_orders[name]):
            continue  # told by the section
        where = path_text((*prefix, "custom_orders", name) if custom else (*prefix, "orders"))
        try:
            sleeves = order_sleeves(strategies, tally, name, reach_ft)
            plan(
                tally,
                sleeves,
                strategies.close_policy,
                strategies.reclose_habit,
                reach_ft,
                strategies.leaking_sleeve,
            )
        except PlanRefused as refusal:
            allowed = "sleeves of the tally, every one uphole of a stage closed while that is treated"
            remedy = "change the order or reclose_habit, or give the well its own [wells.strategies]"
            found = f"order {name} for well {well}: {refusal}"
            faults.append(Fault(f"{file}: {where}", found, allowed, remedy))
    for name, method in strategies.methods.chosen():
        listed = getattr(method, "sleeves", None)
        if listed is not None and not _each_once(listed):
            continue
        try:
            method_plan(strategies, tally, name, reach_ft)
        except PlanRefused as refusal:
            where = path_text((*prefix, "methods", name))
            allowed = "a method that this well's open sleeves allow"
            remedy = "correct its list of sleeves, or remove its table"
            faults.append(Fault(f"{file}: {where}", f"well {well}: {refusal}", allowed, remedy))
    return faults


def _each_once(sleeves: tuple[int, ...]) -> bool:
    """Whether a list of sleeves names some, each once."""
    return 0 < len(sleeves) == len(set(sleeves))


def curve_faults(
    curve: TypeCurve, phase: str, valuation: Valuation | None, file: str, prefix: KeyPath
) -> list[Fault]:
    """A type curve that starts after the valuation, or that states the ratio of its own main phase."""
    faults = []
    where = f"{file}: {path_text((*prefix, 'type_curve'))}"
    if valuation is not None and units.months_between(curve.first_production, valuation.date) < 0:
        allowed = f"up to the valuation date {valuation.date}"
        faults.append(Fault(f"{where}.first_production", curve.first_production, allowed, "correct the date"))
    for key, main in (("oil_ratio", "oil"), ("gas_ratio", "gas")):
        if getattr(curve, key) and phase == main:
            found = f"{getattr(curve, key):g} where {main} is the main phase"
            faults.append(Fault(f"{where}.{key}", found, "ratios of the other phases", "remove it"))
    return faults


def intensity_faults(response: Response, completion: Completion, file: str, prefix: KeyPath) -> list[Fault]:
    """A reference intensity without the well's own."""
    if response.reference_intensity_lb_per_ft is None or completion.proppant_lb_per_ft:
        return []
    where = f"{file}: {path_text((*prefix, 'completion', 'proppant_lb_per_ft'))}"
    found = "no intensity above 0, though response.reference_intensity_lb_per_ft is stated"
    return [Fault(where, found, "a number above 0 lb/ft", "state it, or remove the reference intensity")]


def technical_limit_faults(
    response: Response, phase: str, peak_rate: float, file: str, prefix: KeyPath
) -> list[Fault]:
    """A technical limit that the well's peak rate does not pass, so that it would have no ultimate."""
    unit, key, limit = (
        ("Mcf/d", "technical_limit_mcf_per_d", response.technical_limit_mcf_per_d)
        if phase == "gas"
        else ("bbl/d", "technical_limit_bbl_per_d", response.technical_limit_bbl_per_d)
    )
    if limit < peak_rate:
        return []
    where = f"{file}: {path_text((*prefix, 'response', key))}"
    allowed = f"less than the peak rate of the well, {peak_rate:,.4g} {unit}"
    return [Fault(where, f"{limit:,.4g} {unit}", allowed, "lower the limit, or check the units of the rates")]


def grade_faults(job: Job, completion: Completion, file: str, prefix: KeyPath) -> list[Fault]:
    """A grade that the pressure screen cannot read, where it is asked for."""
    from refracmc.job.pressure import grade_yield_psi

    if job.pressure is None or completion.casing_grade is None:
        return []
    try:
        grade_yield_psi(completion.casing_grade)
    except ValueError:
        where = f"{file}: {path_text((*prefix, 'completion', 'casing_grade'))}"
        allowed = "letters and the yield in ksi, 25 to 200"
        return [Fault(where, f"the grade {completion.casing_grade[:60]!r}", allowed, "write it like P-110")]
    return []


def depth_warnings(tally: Tally, completion: Completion) -> tuple[str, ...]:
    """Depths that each may be right and are not together, as where some of them are metres."""
    deepest, shallowest = float(tally.depth_ft.max()), float(tally.depth_ft.min())
    toe, lateral, reach = completion.toe_md_ft, completion.lateral_ft, completion.ct_reach_ft
    metres = "check the units: a depth in m has a key or column of its own"
    found = []
    if toe is not None and deepest < toe - (toe if lateral is None else lateral) / 2:
        what = "half of that" if lateral is None else f"half of completion.lateral_ft = {lateral:,.0f}"
        found.append(
            f"the deepest sleeve of the tally is at {deepest:,.0f} ft, above completion.toe_md_ft = {toe:,.0f} by more "
            f"than {what}; {metres}"
        )
    if lateral is not None and not lateral / 2 <= deepest - shallowest <= 1.2 * lateral and tally.count > 2:
        found.append(
            f"the sleeves of the tally stand over {deepest - shallowest:,.0f} ft, where completion.lateral_ft = "
            f"{lateral:,.0f}; {metres}"
        )
    if reach is not None and toe is not None and reach < toe / 2:
        found.append(
            f"completion.ct_reach_ft = {reach:,.0f} is less than half of toe_md_ft = {toe:,.0f}; {metres}"
        )
    return tuple(found)


def child_warnings(offset: OffsetWells | None, valuation: Valuation) -> tuple[str, ...]:
    """A value in child wells that no trial counts, as their month is none of the valuation's."""
    if offset is None or offset.child_month is None:
        return ()
    months = units.months_between(valuation.date, offset.child_month)
    if 0 <= months < valuation.horizon_months:
        return ()
    last = units.month_text(units.month_number(valuation.date) + valuation.horizon_months - 1)
    return (
        f"offset_wells.child_month = {offset.child_month} is none of the months of the valuation, {valuation.date} to "
        f"{last}: child_value_usd counts in no trial",
    )
