"""Mean against the mean of the worst trials, and what one more million or one more crew-month is worth.

What more of a limit is worth is never read from the duals of an integer programme: the choice is made again with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from refracmc.case.portfolio_section import Portfolio
from refracmc.portfolio.choice_problem import Choice, Whole
from refracmc.portfolio.limits import CT, FRAC, with_more
from refracmc.portfolio.offered_jobs import OfferedJobs
from refracmc.portfolio.risk import Scored, best_choice
from refracmc.portfolio.selection import Selection, select

WEIGHTS = (0.0, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0)
MILLION = 1e6
MOST_MONTHS = 6
"""Months with the fullest crews in which one more crew-month is tried."""


def efficient_front(
    jobs: OfferedJobs, choice: Choice, settings: Portfolio, tail_fraction: float, own: Scored
) -> list[tuple[float, Scored]]:
    """Choices by rising risk weight; left out are those that another one beats in mean and tail, or at their own
    weight, as doing nothing may where it is allowed (where time ran out). own: the choice itself, at the weight of the
    settings, which is always in. The time of the settings is shared out among the weights."""
    weights = sorted({*WEIGHTS, settings.risk_weight})
    shared = settings.model_copy(update={"time_limit_s": settings.time_limit_s / len(weights)})
    found: list[tuple[float, Scored]] = []
    for weight in weights:
        if weight == settings.risk_weight:
            found.append((weight, own))
            continue
        guide = found[-1][1].outcomes if found and weight else None
        found.append((weight, best_choice(jobs, choice, shared, tail_fraction, weight, guide)))
    kept: list[tuple[float, Scored]] = []
    for weight, scored in found:
        beaten = any(
            other.mean >= scored.mean and other.tail >= scored.tail
            and (other.mean > scored.mean or other.tail > scored.tail)
            for _, other in found
        )  # fmt: skip
        others = [other.mean + weight * other.tail for _, other in found] + ([] if choice.must else [0.0])
        beaten |= scored.mean + weight * scored.tail < max(others)
        same = any(np.array_equal(other.chosen, scored.chosen) for _, other in kept)
        if scored is own or not (beaten or same or np.array_equal(scored.chosen, own.chosen)):
            kept.append((weight, scored))
    return kept


@dataclass(frozen=True, eq=False)
class Worth:
    """What more of some limits is worth: in words, by name how much more, the gain in mean value, the most it can be
    [US$ WI], and the owners that come in and go out."""

    what: str
    more: dict[str, float]
    gain_usd: float
    most_usd: float
    comes: tuple[str, ...]
    goes: tuple[str, ...]


def worth_of_more(choice: Choice, settings: Portfolio, own: Whole) -> list[Worth]:
    """One more million in each limit of capital and in all of them; one more crew-month in the fullest months; one more
    crew in every month. By mean value, whatever the risk weight; own: the best choice by mean known so far. What one
    choice finds serves all the others whose limits it meets, so that more of a limit is never worth less."""
    asked = _asked(choice, settings)
    if not asked:
        return []
    seconds = settings.time_limit_s / (len(asked) + 1)
    base = select(choice, gap=settings.gap, time_limit_s=seconds, start=own).chosen
    known = [base]
    found: list[tuple[Choice, Selection]] = []
    for _, more in asked:
        raised = with_more(choice, more)
        start = max((x for x in known if raised.fits(x)), key=choice.worth)
        made = select(raised, gap=settings.gap, time_limit_s=seconds, start=start)
        known.append(made.chosen)
        found.append((raised, made))
    base = max((x for x in known if choice.fits(x)), key=choice.worth)
    rows = []
    for (what, more), (raised, made) in zip(asked, found, strict=True):
        better = max((x for x in known if raised.fits(x)), key=choice.worth)
        before, after = (set(choice.owner[x].tolist()) for x in (base, better))
        gain = choice.worth(better) - choice.worth(base)
        rows.append(
            Worth(
                what,
                more,
                gain,
                max(made.bound - choice.worth(base), gain),
                tuple(choice.owner_names[k] for k in sorted(after - before)),
                tuple(choice.owner_names[k] for k in sorted(before - after)),
            )
        )
    return rows


def _asked(choice: Choice, settings: Portfolio) -> list[tuple[str, dict[str, float]]]:
    """What more is tried: in words, and by limit how much."""
    names = [limit.name for limit in choice.limits]
    capital = [name for name in names if name.startswith("capital")]
    asked = [(f"US$ 1 million more of {name}", {name: MILLION}) for name in capital]
    if len(capital) > 1:
        asked.append(("US$ 1 million more of every limit of capital", dict.fromkeys(capital, MILLION)))
    working = settings.working_days_per_month
    kinds = [kind for kind in (CT, FRAC) if any(name.startswith(kind) for name in names)]
    for kind in kinds:
        asked.append((f"one more of the {kind} in every month", _all_of(names, [kind], working)))
    if len(kinds) > 1:
        asked.append(("one more CT crew and frac crew in every month", _all_of(names, kinds, working)))
        both = "CT and frac crews"
    for month in _fullest(choice, kinds):
        more = {f"{kind} {month}": working for kind in kinds}
        asked.append((f"one more month of {both if len(kinds) > 1 else kinds[0]} in {month}", more))
    return asked


def _all_of(names: Sequence[str], kinds: Sequence[str], days: float) -> dict[str, float]:
    return {name: days for name in names if name.startswith(tuple(kinds))}


def _fullest(choice: Choice, kinds: Sequence[str]) -> list[str]:
    """Months in which the crews are fullest with the choice by mean, in order of time."""
    chosen = select(choice, gap=0.01, time_limit_s=5.0).chosen
    full: dict[str, float] = {}
    for limit in choice.limits:
        kind = next((kind for kind in kinds if limit.name.startswith(kind)), None)
        if kind is not None and limit.most > 0.0:
            month = limit.name.removeprefix(kind).strip()
            full[month] = max(full.get(month, 0.0), choice.used(limit, chosen) / limit.most)
    fullest = sorted(full, key=lambda month: -full[month])[:MOST_MONTHS]
    return sorted(month for month in fullest if full[month] > 0.5)
