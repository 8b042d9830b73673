"""Second route, part 2a: the list of moves and shifts a stage order asks for, sleeve by sleeve.

Sleeves are numbered from 1, the deepest. A tally is a dict of lists, entry s - 1 for sleeve s: depth_ft,
state, isolation, age_years, shifts.
"""


class Refused(ValueError):
    """The order would leave a sleeve open above a stage."""


def plan_job(tally, order, close_policy, reclose_habit, reach_ft=None, leaking_sleeve="reseat"):
    """Actions [(kind, sleeve)] in order of doing, kinds close, reseat (of a leaking sleeve), open, treat, reclose,
    reopen."""
    count = len(tally["depth_ft"])
    state = dict(enumerate(tally["state"], start=1))
    depth = dict(enumerate(tally["depth_ft"], start=1))
    closes_well = {s for s in state if state[s] in ("open", "closed", "leaking")}
    is_open = {s for s in state if state[s] in ("open", "stuck_open", "perforated")}
    tried = {s for s in state if state[s] == "open" and (reach_ft is None or depth[s] <= reach_ft)}
    shut_in_job = set()
    done = []
    actions = []
    # Leaking sleeves that some stage is pumped below before they are opened for their own.
    to_seal = set()
    for s in state:
        if leaking_sleeve == "reseat" and state[s] == "leaking":
            until = order.index(s) if s in order else len(order)
            if any(stage < s for stage in order[:until]):
                to_seal.add(s)

    def shift(kind, s):
        actions.append((kind, s))
        if kind in ("close", "reseat", "reclose"):
            is_open.discard(s)
            to_seal.discard(s)
            shut_in_job.add(s)
        elif kind in ("open", "reopen"):
            is_open.add(s)
            if kind == "reopen":
                shut_in_job.discard(s)

    at = count + 1
    if close_policy == "all":
        for s in range(count, 0, -1):
            if s in tried or s in to_seal:
                shift("close" if s in tried else "reseat", s)
                at = s
    for i, stage in enumerate(order):
        to_come = order[i:]
        if stage < at and close_policy == "needed":
            for s in range(count, stage, -1):
                if s in tried and s in is_open and s not in done:
                    shift("close", s)
                elif s in to_seal:
                    shift("reseat", s)
        if stage > at:
            for s in range(at, stage):
                just_treated = bool(done) and done[-1] == s
                if s in shut_in_job and s not in to_come and min(to_come) > s and not just_treated:
                    shift("reopen", s)
        at = stage
        if stage not in is_open:
            shift("open", stage)
            shut_in_job.discard(stage)
        actions.append(("treat", stage))
        done.append(stage)
        later = order[i + 1 :]
        wanted = {
            "every": bool(later),
            "needed": any(s < stage for s in later),
            "never": False,
        }[reclose_habit]
        if wanted and stage in closes_well:
            shift("reclose", stage)
        if reclose_habit == "never" and stage in closes_well and any(s < stage for s in later):
            raise Refused(f"sleeve {stage}")
    for s in range(1, count + 1):
        if s in shut_in_job:
            shift("reopen", s)
    return actions


def travel_ft(tally, actions):
    """Running feet of the coiled tubing from the surface through every action and back."""
    at = total = 0.0
    for _, s in actions:
        total += abs(tally["depth_ft"][s - 1] - at)
        at = tally["depth_ft"][s - 1]
    return total + at


def cycles_before(tally, actions):
    """{(kind, s): shifts of s, recorded and planned, before its planned shift of the kind}."""
    so_far = dict(enumerate(tally["shifts"], start=1))
    out = {}
    for kind, s in actions:
        if kind == "reseat":
            so_far[s] += 1  # the opening
            out["close", s] = so_far[s]
            so_far[s] += 1
        elif kind != "treat":
            out[kind, s] = so_far[s]
            so_far[s] += 1
    return out
