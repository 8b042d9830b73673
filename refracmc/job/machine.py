"""The sleeve-state machine: the rules of the job on one page, and the plan that a list of actions makes.

Rules (annular treatment with the coiled-tubing packer set below the sleeve being treated)

1. Sleeves deeper than the stage are isolated by the packer. Every sleeve above it that can stand closed
   (recorded open, closed or leaking) must be closed while it is treated. A leaking one counts as closed for
   this rule; one that cannot be closed (stuck_open, perforated) is accepted, and so is, in a trial, one that
   was tried and failed: what they take of the fluid is counted by the simulation, and `Plan.exposed` says how
   many stages are pumped below each.
2. close   an open sleeve not treated yet (recorded open).
   reseat  a leaking sleeve not treated yet: it is opened and closed again, to seal.
3. open    a closed or leaking sleeve, to treat it next.
4. treat   an open sleeve that is treatable, once.
5. reclose a treated sleeve that can stand closed.
6. reopen  a sleeve closed during the job that has no stage of its own still to come.
7. At the end every sleeve closed during the job is open again. Sleeves closed on record that are not treated
   stay as they were.
8. A sleeve is closed or reseated, opened, treated, reclosed and reopened at most once each.
9. Closings, reseatings and reclosings are followed by a test. The coiled tubing moves straight from action to action,
   starting and ending at the surface (depth 0).

Rules 1 to 7 are the mechanics of such sleeves (common practice, no source); rule 8 is a limit of this model.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from refracmc.job.sleeves import BoolArray, FloatArray, IntArray, PlanRefused, Tally

KINDS: Final = ("close", "open", "reclose", "reopen")
SHIFTS_AND_TREAT: Final = ("close", "reseat", "open", "treat", "reclose", "reopen")


@dataclass(frozen=True)
class Step:
    """One planned step: action (run_in, move, close, reseat, test, open, treat, reclose, reopen, pull_out), the
    sleeve it is done at (None at the surface), and the measured depth [ft] at the end of the step."""

    action: str
    sleeve: int | None
    depth_ft: float


@dataclass(frozen=True)
class Changes:
    """Planned changes of the assembly ("bha") and of the string with its assembly ("string"): before which
    step of the plan (index), of which kind, and the travel out and back that they add [ft]."""

    before_step: tuple[int, ...]
    kinds: tuple[str, ...]
    travel_ft: float

    def count(self, kind: str) -> int:
        """Number of planned changes of a kind [-]."""
        return self.kinds.count(kind)


@dataclass(frozen=True, eq=False)
class Plan:
    """What is to be done, the same in every trial. Arrays are (N,) over sleeves unless marked otherwise.

    order : stages in the order treated; position : place of a sleeve in it from 0, -1 if not treated
    closes, opens, recloses, reopens : which sleeves get that shift; reseats : those of `closes` that leak on
        record, so that an opening goes before; closes_before_first : closings before the first stage (those
        the stop-loss counts); deeper_planned : a stage deeper than the sleeve is planned
    exposed : stages pumped below the sleeve while it stands open or leaks, if all works
    cycles : (4, N) shifts on record plus planned shifts of the sleeve before its close, open, reclose, reopen
    depth_ft : depths of the sleeves [ft]; travel_ft : sum of all moves, surface to surface [ft]
    call_off_travel_ft : moves of a job called off [ft]: through the closings before the first stage as
        listed, to the deepest of them and back to the surface (0 if there are none)
    before : (N, N), [j, s] = 1 where j is above s, both are treated and j before s
    changes : planned changes of assembly and string; None: one change after every stages_per_bha stages
    """

    order: tuple[int, ...]
    close_policy: str
    reclose_habit: str
    steps: tuple[Step, ...]
    treated: BoolArray
    position: IntArray
    closes: BoolArray
    reseats: BoolArray
    opens: BoolArray
    recloses: BoolArray
    reopens: BoolArray
    closes_before_first: BoolArray
    deeper_planned: BoolArray
    exposed: IntArray
    cycles: IntArray
    depth_ft: FloatArray
    travel_ft: float
    call_off_travel_ft: float
    before: FloatArray
    changes: Changes | None = None

    @property
    def shifts(self) -> int:
        """Number of planned shifts (closings, openings, reclosings, reopenings); a reseating is two."""
        return sum(self.shift_counts().values())

    def shift_counts(self) -> dict[str, int]:
        """Planned shifts by kind; a reseating is an opening and a closing."""
        masks = (self.closes, self.opens, self.recloses, self.reopens)
        counts = {kind: int(mask.sum()) for kind, mask in zip(KINDS, masks, strict=True)}
        counts["open"] += int(self.reseats.sum())
        return counts


class _Sleeve:
    """One sleeve as the actions are gone through."""

    def __init__(self, state: str) -> None:
        self.record = state
        self.open = state in ("open", "stuck_open", "perforated")
        self.closed_in_job = False
        self.exposed = 0
        self.done: set[str] = set()


def run(
    tally: Tally,
    actions: Iterable[tuple[str, int]],
    *,
    close_policy: str = "actions",
    reclose_habit: str = "actions",
    reach_ft: float | None = None,
) -> Plan:
    """Go through (action, sleeve number) pairs by the rules and return the plan they make; reach in ft.

    Actions are those of `SHIFTS_AND_TREAT`. Raises PlanRefused with the sleeve named at the first broken
    rule.
    """
    pairs = [(str(action), int(sleeve)) for action, sleeve in actions]
    sleeves = [_Sleeve(str(state)) for state in tally.state]
    n = tally.count
    reachable, treatable, closable = tally.reachable(reach_ft), tally.treatable, tally.closable
    to_treat = {s for action, s in pairs if action == "treat"}
    order: list[int] = []
    before_first = np.zeros(n, dtype=bool)
    for action, s in pairs:
        if action not in SHIFTS_AND_TREAT:
            raise PlanRefused(f"unknown action '{action}'; allowed: {', '.join(SHIFTS_AND_TREAT)}", s)
        if not 1 <= s <= n:
            raise PlanRefused(f"{action} names sleeve {s}; the tally has sleeves 1 to {n}", s)
        it = sleeves[s - 1]
        if not reachable[s - 1]:
            raise PlanRefused(
                f"{action} names sleeve {s} at {tally.depth_ft[s - 1]:g} ft, beyond the reach of the tubing",
                s,
            )
        if action in it.done:
            raise PlanRefused(f"{action} is asked of sleeve {s} twice; each is planned once per sleeve", s)
        if action in ("close", "reseat", "reclose"):
            _check_closing(action, s, it, bool(closable[s - 1]))
            it.open, it.closed_in_job = False, True
            if action != "reclose":
                before_first[s - 1] = not order
        elif action == "open":
            if it.open or it.record in ("stuck_closed", "patched") or s not in to_treat or "treat" in it.done:
                raise PlanRefused(
                    f"open is asked of sleeve {s} ({it.record} on record), which is open, cannot be opened "
                    "or has no stage to come; a sleeve is opened to be treated, and reopened otherwise",
                    s,
                )
            it.open = True
        elif action == "treat":
            if not treatable[s - 1] or not it.open:
                raise PlanRefused(
                    f"sleeve {s} ({it.record} on record) is not open when it is to be treated", s
                )
            _check_uphole(s, sleeves, closable)
            order.append(s)
            for above in sleeves[s:]:
                above.exposed += above.open or (above.record == "leaking" and not above.done)
        else:
            if it.open or not it.closed_in_job or (s in to_treat and "treat" not in it.done):
                raise PlanRefused(
                    f"reopen is asked of sleeve {s}, which is open, was not closed in the job "
                    "or is still to be treated",
                    s,
                )
            it.open = True
        it.done.add(action)
    if not order:
        raise PlanRefused("no stage is treated")
    for s in range(n, 0, -1):
        if sleeves[s - 1].closed_in_job and not sleeves[s - 1].open:
            raise PlanRefused(f"sleeve {s} is closed during the job and never opened again; reopen it", s)
    return _assemble(tally, pairs, order, sleeves, before_first, close_policy, reclose_habit)


def _check_closing(action: str, s: int, it: _Sleeve, closable: bool) -> None:
    if not closable:
        raise PlanRefused(
            f"{action} is asked of sleeve {s}, which is {it.record} on record and cannot be closed", s
        )
    if action == "reseat":
        if it.record != "leaking" or it.done:
            raise PlanRefused(
                f"reseat is asked of sleeve {s} ({it.record} on record); only a leaking sleeve is opened and closed "
                "again, before anything else is done there",
                s,
            )
        return
    if not it.open:
        raise PlanRefused(f"{action} is asked of sleeve {s}, which is closed already", s)
    treated = "treat" in it.done
    if (action == "close" and (treated or it.record != "open" or it.done)) or (
        action == "reclose" and not treated
    ):
        raise PlanRefused(
            f"{action} is asked of sleeve {s} at the wrong time; an open sleeve is closed before its own "
            "stage, and reclosed after it, once each",
            s,
        )


def _check_uphole(s: int, sleeves: Sequence[_Sleeve], closable: BoolArray) -> None:
    for j in range(s + 1, len(sleeves) + 1):
        if sleeves[j - 1].open and closable[j - 1]:
            raise PlanRefused(
                f"sleeve {j} is open above sleeve {s} when that is treated; every sleeve uphole of it must "
                f"be closed: close or reclose sleeve {j} first",
                j,
            )


def _assemble(
    tally: Tally,
    pairs: Sequence[tuple[str, int]],
    order: Sequence[int],
    sleeves: Sequence[_Sleeve],
    before_first: BoolArray,
    close_policy: str,
    reclose_habit: str,
) -> Plan:
    n = tally.count
    steps: list[Step] = []
    depth, travel = 0.0, 0.0
    for action, s in pairs:
        target = float(tally.depth_ft[s - 1])
        if target != depth:
            steps.append(Step("move" if steps else "run_in", s, target))
            travel += abs(target - depth)
            depth = target
        steps.append(Step(action, s, target))
        if action in ("close", "reseat", "reclose"):
            steps.append(Step("test", s, target))
    steps.append(Step("pull_out", None, 0.0))
    travel += depth

    def mask(action: str) -> BoolArray:
        return np.array([action in it.done for it in sleeves], dtype=bool)

    closes, reseats, opens, treated, recloses, reopens = (mask(a) for a in SHIFTS_AND_TREAT)
    closes |= reseats
    position = np.full(n, -1, dtype=np.int64)
    position[np.array(order) - 1] = np.arange(len(order))
    cycles = np.empty((4, n), dtype=np.int64)
    cycles[0] = tally.shifts + reseats
    cycles[1] = cycles[0] + closes
    cycles[2] = cycles[1] + opens
    cycles[3] = cycles[2] + recloses
    number = np.arange(n)
    before = (
        (number[:, None] > number[None, :])
        & (treated[:, None] & treated[None, :])
        & (position[:, None] < position[None, :])
    )
    first_pass = [
        float(tally.depth_ft[s - 1])
        for action, s in pairs
        if action in ("close", "reseat") and before_first[s - 1]
    ]
    call_off_path = [0.0, *first_pass, max(first_pass), 0.0] if first_pass else [0.0]
    return Plan(
        order=tuple(order),
        close_policy=close_policy,
        reclose_habit=reclose_habit,
        steps=tuple(steps),
        treated=treated,
        position=position,
        closes=closes,
        reseats=reseats,
        opens=opens,
        recloses=recloses,
        reopens=reopens,
        closes_before_first=before_first,
        deeper_planned=number > min(order) - 1,
        exposed=np.array([it.exposed for it in sleeves], dtype=np.int64),
        cycles=cycles,
        depth_ft=tally.depth_ft,
        travel_ft=travel,
        call_off_travel_ft=float(np.abs(np.diff(call_off_path)).sum()),
        before=before.astype(float),
    )
