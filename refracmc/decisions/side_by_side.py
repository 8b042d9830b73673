"""A well in its case and under the scenarios of the case, side by side: both have the same trials.

A scenario keeps the random numbers of the case, so that a difference is taken trial by trial and its error is that of
the paired difference.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from refracmc.decisions.compare import ErrorOf
from refracmc.engine.trials import Rows

Row = dict[str, Any]
NOT_KNOWN = (np.nan, np.nan)


@dataclass(frozen=True, eq=False)
class WellUnder:
    """A well under one scenario, or as the case stands.

    decision, verdict: its rows of these tables; names: its strategies; incremental: incremental NPV, a row (n,) for
    each of them [US$ WI].
    """

    scenario: str
    decision: Mapping[str, Any]
    verdict: Mapping[str, Any]
    names: tuple[str, ...]
    incremental: Rows

    @property
    def best(self) -> str:
        """The refrac of the decision."""
        return str(self.decision["strategy"])

    def row(self, strategy: str) -> Any:
        """Incremental NPV of a strategy by trial (n,)."""
        return self.incremental[self.names.index(strategy)]


_AS_DECIDED = (
    "strategy",
    "date",
    "mean_usd",
    "se_usd",
    "p90_usd",
    "p50_usd",
    "p10_usd",
    "p_loss",
    "p_loss_se",
)


def scenario_rows(base: WellUnder, under: Sequence[WellUnder], error_of: ErrorOf) -> list[Row]:
    """One row for the well in its case, the first, and one for each scenario."""
    alone = base.row(base.best)
    return [_row(one, base.best, alone, error_of) for one in (base, *under)]


def _row(one: WellUnder, choice: str, alone: Any, error_of: ErrorOf) -> Row:
    """choice: the refrac that the case chooses, alone (n,): its incremental NPV there [US$ WI]."""
    best = one.row(one.best)
    difference, kept, regret = error_of(best - alone), NOT_KNOWN, NOT_KNOWN
    if choice in one.names:
        chosen = one.row(choice)
        kept, regret = error_of(chosen), error_of(best - chosen)
    return {
        "well": one.decision["well"],
        "scenario": one.scenario,
        "verdict": one.verdict["verdict"],
        **{name: one.decision[name] for name in _AS_DECIDED},
        "difference_usd": difference[0],
        "difference_se_usd": difference[1],
        "choice": choice,
        "choice_usd": kept[0],
        "choice_se_usd": kept[1],
        "regret_usd": regret[0],
        "regret_se_usd": regret[1],
    }
