"""Second route, part 2d: where the assembly and the tubing string are changed so that it costs the least time.

Written from the docstring of `refracmc/job/changes.py`. The strings part the job into runs. Within a run of one
string a number n of assembly changes takes n times their hours at the surface and the time to travel, so the least
feet for that n are also the least hours: one table of least feet by (changes, place) for each start of a run, then
the cheapest chain of runs.
"""

import functools
import math
from typing import NamedTuple

from tests.second_route.plan import Refused


class Rules(NamedTuple):
    """Expected values, the same in every trial; string_life_ft None: no limit."""

    stages_per_bha: int
    string_life_ft: float | None
    bha_change_hours: float
    string_change_hours: float
    ct_speed_ft_per_min: float


def places(depth_ft, actions):
    """Where a change may be made: (depth, stages treated before, feet run before), in order.

    Before and after every action, where the tubing then stands; not at the surface, where there is nothing to do.
    """
    out, at, feet, treated = [], 0.0, 0.0, 0
    for kind, s in actions:
        depth = depth_ft[s - 1]
        feet += abs(depth - at)
        at = depth
        if not out or out[-1] != (at, treated, feet):
            out.append((at, treated, feet))
        if kind == "treat":
            treated += 1
            out.append((at, treated, feet))
    return out, treated, feet + at


def assembly_changes(spots, start, stages_per_bha):
    """Least sum of depths of n assembly changes after place `start` (-1: the first run), the last at place k.

    A list over n of dicts k -> (sum of depths, places changed at); n = 0 holds `start` alone.
    """
    table = [{start: (0.0, ())}]
    while True:
        row = {}
        for k in range(start + 1, len(spots)):
            depth, treated, _ = spots[k]
            found = [
                (feet + depth, (*path, k))
                for j, (feet, path) in table[-1].items()
                if j < k and 0 < treated - treated_at(spots, j) <= stages_per_bha
            ]
            if found:
                row[k] = min(found)
        if not row:
            return table
        table.append(row)


def treated_at(spots, j):
    return spots[j][1] if j >= 0 else 0


@functools.cache
def plan_changes(depth_ft, actions, rules):
    """((kind, depth), ...) of the cheapest set, in order; kinds bha and string. Arguments: tuples."""
    spots, stages, whole = places(depth_ft, actions)
    speed, life = 60.0 * rules.ct_speed_ft_per_min, rules.string_life_ft
    # cheapest way to the end of a run at a place: place -> (hours, changes)
    reached = {-1: (0.0, ())}
    best = None
    for start in range(-1, len(spots)):
        if start not in reached:
            continue
        before, so_far = reached[start]
        from_depth, _, from_feet = spots[start] if start >= 0 else (0.0, 0, 0.0)
        for n, row in enumerate(assembly_changes(spots, start, rules.stages_per_bha)):
            for j, (depths, path) in row.items():
                hours = before + n * rules.bha_change_hours + 2.0 * depths / speed
                made = (*so_far, *(("bha", spots[k][0]) for k in path))
                ends = [(len(spots), 0.0, stages, whole)]
                if life is not None:
                    ends += [(k, *spots[k]) for k in range(j + 1, len(spots))]
                for k, depth, treated, feet in ends:
                    run = from_depth + feet - from_feet + 2.0 * depths + depth
                    if treated - treated_at(spots, j) > rules.stages_per_bha:
                        continue
                    if life is not None and run > life:
                        continue
                    if k == len(spots):
                        if best is None or hours < best[0]:
                            best = (hours, made)
                        continue
                    total = hours + rules.string_change_hours + 2.0 * depth / speed
                    if total < reached.get(k, (math.inf,))[0]:
                        reached[k] = (total, (*made, ("string", depth)))
    if best is None:
        raise Refused("a string cannot reach every sleeve and come out within its life")
    return best[1]
