"""What a stated rank correlation comes to with the inputs of the wells: nothing with a fixed number, less with one that
takes few values."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from refracmc.case.uncertain_inputs import inputs_of
from refracmc.errors import Fault
from refracmc.sampling.attainable_rank import attainable_rank, reached_rank
from refracmc.sampling.distributions import Distribution

if TYPE_CHECKING:
    from refracmc.case.shared_sections import Pair
    from refracmc.case.validated_case import Case


@dataclass(frozen=True)
class _PairOfWell:
    """A stated pair as a well has it: its place in the list, from 0, and its distributions, if it has any."""

    place: int
    pair: Pair
    well: str
    distributions: tuple[Distribution | None, Distribution | None]

    @property
    def undrawn(self) -> tuple[str, ...]:
        """Which of the two inputs do not vary."""
        names = (self.pair.a, self.pair.b)
        return tuple(name for name, item in zip(names, self.distributions, strict=True) if not _varies(item))

    def reach(self) -> tuple[float, float, float] | None:
        """Lowest and highest rank correlation of the two, and that of the trials; None where both are continuous."""
        a, b = self.distributions
        if a is None or b is None or self.undrawn or not (a.steps().size or b.steps().size):
            return None
        return (*attainable_rank(a, b), reached_rank(a, b, self.pair.rank_correlation))


def _varies(distribution: Distribution | None) -> bool:
    return distribution is not None and not distribution.is_fixed and distribution.steps().size != 2


def _pairs_of_wells(case: Case) -> Iterator[_PairOfWell]:
    for well in case.wells if case.dependence.pairs else ():
        found = {variable.name: variable.distribution for variable in inputs_of(case, well)}
        for k, pair in enumerate(case.dependence.pairs):
            yield _PairOfWell(k, pair, well.id, (found.get(pair.a), found.get(pair.b)))


def pair_faults(case: Case, may_be_fixed: bool = False) -> list[Fault]:
    """Correlated inputs that no well draws: fixed in every one, or there in none; and correlations that a well's two
    inputs cannot have.

    may_be_fixed: a pair that no well draws is left out, as of a scenario that fixes one of the two.
    """
    drawn: set[str] = set()
    present: set[str] = set()
    faults = []
    beyond: set[int] = set()
    for item in _pairs_of_wells(case):
        names = (item.pair.a, item.pair.b)
        present.update(name for name, one in zip(names, item.distributions, strict=True) if one is not None)
        drawn.update(name for name in names if name not in item.undrawn)
        reach, stated = item.reach(), item.pair.rank_correlation
        if reach is not None and not reach[0] <= stated <= reach[1] and item.place not in beyond:
            beyond.add(item.place)
            faults.append(_beyond(case, item, reach))
    for k, pair in enumerate(() if may_be_fixed else case.dependence.pairs):
        for key, name in (("a", pair.a), ("b", pair.b)):
            if name not in drawn:
                found = (
                    f"{name}, {'a fixed number in every well' if name in present else 'which no well has'}"
                )
                where = f"{case.path.name}: dependence.pairs[{k + 1}].{key}"
                remedy = "give it a distribution, or remove the pair"
                faults.append(Fault(where, found, "two inputs that are uncertain", remedy))
    return faults


def _beyond(case: Case, item: _PairOfWell, reach: tuple[float, float, float]) -> Fault:
    pair = item.pair
    where = f"{case.path.name}: dependence.pairs[{item.place + 1}].rank_correlation"
    found = (
        f"{pair.rank_correlation:g} of {pair.a} with {pair.b}, of which {_stepped(item)} in well {item.well}"
    )
    allowed = f"{_range(reach)}, which is all that these two inputs can have"
    return Fault(where, found, allowed, "state one within, or give the input a continuous distribution")


def _stepped(item: _PairOfWell) -> str:
    """Which of the two takes listed values, and how many."""
    counts = [
        f"{name} takes {one.steps().size - 1} values"
        for name, one in zip((item.pair.a, item.pair.b), item.distributions, strict=True)
        if one is not None and one.steps().size
    ]
    return " and ".join(counts)


def _range(reach: tuple[float, float, float]) -> str:
    """The range rounded inwards, so that what it names can be stated."""
    return f"{-int(-reach[0] * 1000) / 1000:g} to {int(reach[1] * 1000) / 1000:g}"


def pairs_told(case: Case) -> tuple[str, ...]:
    """What does not come out as stated, a sentence each: pairs of listed values, and those that a well leaves out."""
    wells: dict[str, list[str]] = {}
    for item in _pairs_of_wells(case):
        pair, reach, undrawn = item.pair, item.reach(), item.undrawn
        name = f"dependence.pairs[{item.place + 1}]"
        if undrawn:
            vary = "does not vary" if len(undrawn) == 1 else "do not vary"
            sentence = f"{name} is left out, for {' and '.join(undrawn)} {vary} there"
        elif reach is not None:
            sentence = (
                f"{name}: {_stepped(item)}, so that the rank correlation of {pair.a} with {pair.b} can be "
                f"{_range(reach)}; {pair.rank_correlation:g} as stated comes out as about {reach[2]:.2g}"
            )
        else:
            continue
        wells.setdefault(sentence, []).append(item.well)
    every = len(case.wells)
    return tuple(
        sentence if len(ids) == every else f"{', '.join(ids)}: {sentence}" for sentence, ids in wells.items()
    )
