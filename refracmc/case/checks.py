"""Checks between sections: refrac dates against the horizon, correlations against the inputs there are."""

from __future__ import annotations

from refracmc.case import units
from refracmc.case.faults import KeyPath, nearest, path_text
from refracmc.case.inputs import is_shared, variable_names
from refracmc.case.sections import Dependence, Valuation
from refracmc.case.strategies import Strategies
from refracmc.errors import Fault

MIN_MONTHS_AFTER_REFRAC = 12


def date_faults(strategies: Strategies, valuation: Valuation, file: str, prefix: KeyPath) -> list[Fault]:
    """Refrac dates before the valuation date or too close to the horizon."""
    where = f"{file}: {path_text((*prefix, 'dates'))}"
    start = units.month_number(valuation.date)
    faults = []
    early = [m for m in strategies.months if units.month_number(m) < start]
    if early:
        allowed = f"months from the valuation date {valuation.date} on"
        faults.append(Fault(where, f"the refrac date {', '.join(early[:6])}", allowed, "take later dates"))
    last = start + valuation.horizon_months - MIN_MONTHS_AFTER_REFRAC
    late = [m for m in strategies.months if units.month_number(m) > last]
    if late:
        found = f"the refrac date {', '.join(late[:6])} with a horizon of {valuation.horizon_months} months"
        allowed = f"up to {units.month_text(last)}: {MIN_MONTHS_AFTER_REFRAC} months before the horizon ends"
        faults.append(Fault(where, found, allowed, "raise valuation.horizon_months or take earlier dates"))
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
        return [Fault(f"{file}: dependence.pairs", str(problem), allowed, "take the nearest valid values")]
    return []
