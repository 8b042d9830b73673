"""Second route, part 6: named stage orders and the families a search of orders starts from, as lists of sleeves.

Written from the reference (named orders) and the docstring of `refracmc/decisions/order_search.py` (families).
"""


def stages_of(tally, reach_ft):
    """Sleeves that can be treated and reached, from the toe up."""
    return [
        s
        for s, (state, depth) in enumerate(zip(tally["state"], tally["depth_ft"], strict=True), start=1)
        if state not in ("stuck_closed", "patched") and (reach_ft is None or depth <= reach_ft)
    ]


def toe_to_heel(stages):
    return sorted(stages)


def heel_to_toe(stages):
    return sorted(stages, reverse=True)


def two_pass(stages):
    return passes(stages, 2)


def passes(stages, count):
    """Every count-th stage from the toe up, then those one further, and so on."""
    up = sorted(stages)
    return [up[i] for first in range(count) for i in range(first, len(up), count)]


def alternating(stages):
    """The second next stage, then back to the one passed over: 1 3 2 5 4 6."""
    left, order = sorted(stages), []
    if left:
        order.append(left.pop(0))
    while len(left) > 1:
        order.append(left.pop(1))
        order.append(left.pop(0))
    return order + left


NAMED = {
    "toe_to_heel": toe_to_heel,
    "heel_to_toe": heel_to_toe,
    "alternating": alternating,
    "two_pass": two_pass,
}


def grouped(stages, size):
    up, groups = sorted(stages), []
    while up:
        groups.append(up[:size])
        up = up[size:]
    return groups


def families(stages):
    """label -> order, of groups of neighbours, passes that skip, and a well alternating in one half."""
    out = {}
    up = sorted(stages)
    for size in (2, 3, 4, 5, 6, 8, 10, 15):
        if size < len(up):
            groups = grouped(up, size)
            out[f"groups_of_{size}_heel_first"] = [s for group in groups for s in heel_to_toe(group)]
            out[f"groups_of_{size}_two_pass"] = [s for group in groups for s in two_pass(group)]
            out[f"groups_of_{size}_from_heel"] = [s for group in reversed(groups) for s in group]
    for count in (3, 4):
        if count < len(up):
            out[f"{count}_passes"] = passes(up, count)
    toe, heel = up[: len(up) // 2], up[len(up) // 2 :]
    out["alternating_toe_half"] = alternating(toe) + heel
    out["alternating_heel_half"] = toe + alternating(heel)
    return out


def stages_below_after(order, s):
    """How many stages deeper than s come after it."""
    return sum(deeper < s for deeper in order[order.index(s) + 1 :])
