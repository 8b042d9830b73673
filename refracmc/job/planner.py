"""The plan of a job: the moves and shifts a stage order asks for under a closing policy and a reclosing
habit.

Closing policy
    "all"     on the way in every open sleeve is closed, shallowest first, whether the rule needs it or not;
    "needed"  an open sleeve is closed only if a deeper one is treated before it is, on the way down to the
              first such stage.
Leaking sleeves
    "reseat"  a sleeve that leaks on record is opened and closed again if a deeper stage comes before its own
              (or it has none): on the way in with "all", on the way down to the first such stage with "needed";
    "accept"  it is left as it is, exposed to those stages (`Plan.exposed`).
Reclosing habit, always straight after the stage, while the coiled tubing is there
    "needed"  a treated sleeve is reclosed only if a later stage is deeper;
    "every"   each treated sleeve is reclosed unless its stage is the last of the order;
    "never"   none is; an order in which a later stage is deeper than a sleeve that can be closed is refused.
Sleeves that cannot stand closed (stuck_open, perforated) are never closed or reclosed.

Reopening: on each move up, the sleeves the coiled tubing starts at or passes (not the one it goes to) are
reopened in turn if they were closed in the job, have no stage of their own to come, and no later stage is
deeper; the sleeve whose stage has just ended is left as it is. After the last stage the coiled tubing goes
down to the deepest sleeve still to be reopened, if that is below it, and reopens all on the way out.

So stages are visited in their order with no detour, every closing lies on a way down that is made anyhow, and
with the habit "needed" every reopening on a way up that is made anyhow: travel and shifts are the least
possible (tests/job compares with an exhaustive search). With "every" it is the least among plans that go from
stage to stage directly.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from refracmc.job.machine import KINDS, SHIFTS_AND_TREAT, Plan, Step, run
from refracmc.job.orders import deeper_later, validate
from refracmc.job.sleeves import PlanRefused, Tally

CLOSE_POLICIES: Final = ("all", "needed")
RECLOSE_HABITS: Final = ("every", "needed", "never")
LEAKING_SLEEVES: Final = ("reseat", "accept")

__all__ = [
    "CLOSE_POLICIES",
    "KINDS",
    "LEAKING_SLEEVES",
    "RECLOSE_HABITS",
    "Plan",
    "PlanRefused",
    "Step",
    "check_actions",
    "plan",
]

_INCIDENTAL: Final = ("run_in", "move", "test", "trip", "pull_out")


def plan(
    tally: Tally,
    order: Sequence[int],
    close_policy: str = "all",
    reclose_habit: str = "needed",
    reach_ft: float | None = None,
    leaking_sleeve: str = "reseat",
) -> Plan:
    """The plan of an order (sleeve numbers, 1 = deepest).

    Parameters
    ----------
    close_policy, reclose_habit, leaking_sleeve : see the module
    reach_ft : reach of the coiled tubing [ft]; deeper sleeves are left as they are (the packer isolates them
        from every stage) and may not be in the order. None: no limit.

    Raises
    ------
    PlanRefused naming the sleeve; ValueError for an unknown policy or habit.
    """
    for name, value, allowed in (
        ("close_policy", close_policy, CLOSE_POLICIES),
        ("reclose_habit", reclose_habit, RECLOSE_HABITS),
        ("leaking_sleeve", leaking_sleeve, LEAKING_SLEEVES),
    ):
        if value not in allowed:
            raise ValueError(f"unknown {name} '{value}'; allowed: {', '.join(allowed)}")
    stages = validate(order, tally, reach_ft)
    reachable = tally.reachable(reach_ft)
    closable = tally.closable
    later_deeper = deeper_later(stages)

    is_open = {k + 1 for k, state in enumerate(tally.state) if state in ("open", "stuck_open", "perforated")}
    may_close = {k + 1 for k, state in enumerate(tally.state) if state == "open" and reachable[k]}
    leaking = set[int]()
    if leaking_sleeve == "reseat":
        leaking = {s for s in _exposed_sleeves(stages, tally.count) if tally.state[s - 1] == "leaking"}
    actions: list[tuple[str, int]] = []
    to_reopen: set[int] = set()  # closed in the job, own stage (if any) over

    def close(s: int, kind: str) -> None:
        actions.append(("reseat" if s in leaking else kind, s))
        is_open.discard(s)
        leaking.discard(s)

    if close_policy == "all":
        for s in sorted(may_close | leaking, reverse=True):
            close(s, "close")
    at = min(
        (s for _, s in actions), default=tally.count + 1
    )  # sleeve the coiled tubing is at; N+1 = above all
    to_reopen = {s for _, s in actions if s not in stages}

    for i, stage in enumerate(stages):
        just_treated = stages[i - 1] if i else None
        if stage < at:
            exposed = may_close & is_open | leaking if close_policy == "needed" else set()
            for s in sorted(exposed, reverse=True):
                if s > stage and s not in stages[:i]:
                    close(s, "close")
                    if s not in stages:
                        to_reopen.add(s)
        else:
            deepest_left = min(stages[i:])
            for s in sorted(to_reopen):
                if at <= s < stage and s != just_treated and s < deepest_left:
                    actions.append(("reopen", s))
                    to_reopen.discard(s)
        at = stage
        if stage not in is_open:
            actions.append(("open", stage))
            is_open.add(stage)
        actions.append(("treat", stage))
        if later_deeper[i] and reclose_habit == "never" and closable[stage - 1]:
            deeper = next(s for s in stages[i + 1 :] if s < stage)
            raise PlanRefused(
                f"sleeve {stage} would stay open while sleeve {deeper}, which is deeper, is treated after "
                "it; reclose where needed, or change the order",
                stage,
            )
        wanted = (reclose_habit == "needed" and later_deeper[i]) or (
            reclose_habit == "every" and i < len(stages) - 1
        )
        if wanted and closable[stage - 1]:
            close(stage, "reclose")
            to_reopen.add(stage)
    actions += [("reopen", s) for s in sorted(to_reopen)]
    return run(tally, actions, close_policy=close_policy, reclose_habit=reclose_habit, reach_ft=reach_ft)


def _exposed_sleeves(stages: Sequence[int], count: int) -> Iterator[int]:
    """The sleeves, of so many, with a deeper stage before their own, or with a deeper stage and none of their own."""
    for s in range(1, count + 1):
        before = stages[: stages.index(s)] if s in stages else stages
        if min(before, default=s) < s:
            yield s


def check_actions(
    tally: Tally, actions: Iterable[tuple[str, int | None]], reach_ft: float | None = None
) -> Plan:
    """The plan that an engineer's own list of (action, sleeve number) makes, once it has passed the rules of
    `machine`.

    Beside close, reseat, open, treat, reclose and reopen the list may hold run_in, move, test, trip and pull_out,
    which are derived and therefore passed over. "close" after the sleeve's stage is taken as reclose, "open"
    of a sleeve closed in the job with no stage to come as reopen. Raises PlanRefused with the sleeve named.
    """
    listed: list[tuple[str, int]] = []
    for action, sleeve in actions:
        if action in _INCIDENTAL:
            continue
        if sleeve is None:
            raise PlanRefused(f"the action '{action}' names no sleeve")
        if action not in SHIFTS_AND_TREAT:
            allowed = ", ".join((*SHIFTS_AND_TREAT, *_INCIDENTAL))
            raise PlanRefused(f"unknown action '{action}'; allowed: {allowed}", sleeve)
        listed.append((action, sleeve))
    left = [s for action, s in listed if action == "treat"]
    treated: set[int] = set()
    closed: set[int] = set()
    meant: list[tuple[str, int]] = []
    for action, s in listed:
        if action == "close" and s in treated:
            action = "reclose"
        elif action == "open" and s in closed and s not in left:
            action = "reopen"
        if action == "treat":
            treated.add(s)
            left.remove(s)
        elif action in ("close", "reclose"):
            closed.add(s)
        meant.append((action, s))
    return run(tally, meant, reach_ft=reach_ft)
