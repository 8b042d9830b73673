"""Second route, part 2c: isolation methods beside reclosed sleeves, one trial of each, sleeve by sleeve.

Written from the docstrings of `refracmc/job/methods/` and the reference. Dicts and luck as in `job`; `terms` are the
keys of the method's own table. Sleeve 1 is the deepest.
"""

import math

OPEN = ("open", "stuck_open", "perforated")
NOT_TREATABLE = ("stuck_closed", "patched")


def simulate(kind, tally, terms, inputs, luck, max_tries, reach_ft):
    """What `job.rules` gives for an order, for a method."""
    walk = {"bullhead": bullhead, "straddle": straddle, "liner": liner}[kind]
    made = walk(tally, terms, inputs, luck, max_tries, reach_ft)
    return finish(made, tally, inputs, luck)


def numbered(values):
    return dict(enumerate(values, start=1))


def start(tally, inputs, bottom_ft):
    """The tubing runs to the bottom and back and cleans out; nothing is treated yet."""
    sleeves = range(1, len(tally["depth_ft"]) + 1)
    produces = {s: tally["state"][s - 1] in (*OPEN, "leaking") for s in sleeves}
    return {
        "ct_hours": inputs["cleanout_hours"] + 2.0 * bottom_ft / (60.0 * inputs["ct_speed_ft_per_min"]),
        "pumping_hours": 0.0,
        "more_days_before": 0.0,
        "placed": dict.fromkeys(sleeves, 0.0),
        "received": dict.fromkeys(sleeves, 0.0),
        "effect": dict.fromkeys(sleeves, 0.0),
        "kept": {s: 1.0 if produces[s] else 0.0 for s in sleeves},
        "produces": produces,
        "volumes": 0,
        "trips": 0,
        "screenouts": 0,
        "isolation_usd": 0.0,
        "called_off": False,
        "stands_by": False,  # the pumping crew, while the tubing works
        "stages": [],  # planned: groups of sleeves in the order treated
    }


def open_sleeves(tally):
    return [s for s, state in numbered(tally["state"]).items() if state in OPEN]


def treatable_sleeves(tally):
    return [s for s, state in numbered(tally["state"]).items() if state not in NOT_TREATABLE]


def takes_fluid(state):
    return state in (*OPEN, "leaking")


def within(depth_ft, reach_ft):
    return depth_ft if reach_ft is None else min(depth_ft, reach_ft)


def bullhead(tally, terms, inputs, luck, max_tries, reach_ft):
    """Everything at once into all that is open; the diverter evens part of the spread."""
    state = numbered(tally["state"])
    bottom = max(depth for s, depth in numbered(tally["depth_ft"]).items() if takes_fluid(state[s]))
    made = start(tally, inputs, within(bottom, reach_ft))
    volumes = max(1, round(terms["volume_fraction"] * len(treatable_sleeves(tally))))
    sd = terms["share_log_sd"] * (1.0 - terms["diverter_evens_fraction"])
    weight = {}
    for s in state:
        takes = math.exp(sd * luck["z_stage"][s - 1])
        if state[s] in OPEN:
            weight[s] = takes
        elif state[s] == "leaking":
            weight[s] = inputs["leak_fluid_fraction"] * takes
    for s, part in weight.items():
        made["placed"][s] = volumes * part / sum(weight.values())
        made["effect"][s] = terms["effect_fraction"] * min(1.0, made["placed"][s])
    drops = terms["diverter_drops"]
    made["volumes"] = volumes
    made["pumping_hours"] = volumes * inputs["hours_per_stage"] * terms["pumping_hours_factor"]
    made["pumping_hours"] += drops * terms["hours_per_drop"]
    made["isolation_usd"] = drops * terms["diverter_usd_per_drop"]
    made["planned"] = treatable_sleeves(tally)
    return made


def sets_needed(u, chance, most):
    """(sets made, whether the last one sealed)."""
    for j in range(1, most + 1):
        if u < 1.0 - (1.0 - chance) ** j:
            return j, True
    return most, False


def straddle(tally, terms, inputs, luck, max_tries, reach_ft):
    """One sleeve after another between two packers, toe to heel."""
    depth = numbered(tally["depth_ft"])
    reached = [s for s in open_sleeves(tally) if reach_ft is None or depth[s] <= reach_ft]
    sleeves = sorted(terms["sleeves"] or reached)
    made = start(tally, inputs, max(depth[s] for s in sleeves))
    sets = 0
    for s in sleeves:
        tries, sealed = sets_needed(luck["u_open"][s - 1], terms["seal_chance"], max_tries)
        sets += tries
        if sealed:
            stage(made, s, terms["pumping_hours_factor"], tally, inputs, luck)
    made["trips"] += math.floor((sets - 1) / terms["sets_per_trip"])
    made["ct_hours"] += sets * terms["hours_per_set"] + made["trips"] * inputs["hours_per_trip"]
    for s in depth:
        value = made["placed"][s] + inputs["stray_fluid_value"] * made["received"][s]
        if made["produces"][s]:
            made["effect"][s] = terms["effect_fraction"] * min(1.0, value)
    made["stages"] = [[s] for s in sleeves]
    made["isolation_usd"] = sets * terms["tool_usd_per_set"]
    made["stands_by"] = True
    made["planned"] = sleeves
    return made


def stage(made, s, hours_factor, tally, inputs, luck):
    """A stage between the packers: it may screen out, and leak to the neighbours behind the casing."""
    made["volumes"] += 1
    log_sd = inputs["stage_hours_log_sd"]
    made["ct_hours"] += (
        inputs["hours_per_stage"] * hours_factor * math.exp(log_sd * luck["z_stage"][s - 1] - log_sd**2 / 2.0)
    )
    fluid = 1.0
    if luck["u_screen"][s - 1] < inputs["screenout_chance"]:
        fluid = inputs["screenout_placed_fraction"]
        made["screenouts"] += 1
        made["ct_hours"] += inputs["screenout_hours"]
    if luck["u_trip"][s - 1] < inputs["trip_chance_per_stage"]:
        made["trips"] += 1
    left = fluid
    for neighbour, interface in ((s + 1, s), (s - 1, s - 1)):
        if neighbour in made["placed"] and leaks(interface, tally, inputs, luck):
            made["received"][neighbour] += inputs["leak_fluid_fraction"] * fluid
            left -= inputs["leak_fluid_fraction"] * fluid
    made["placed"][s] = left


def leaks(interface, tally, inputs, luck):
    """Whether what lies between a sleeve and the next shallower one lets fluid through."""
    kind = tally["isolation"][interface - 1]
    return kind == "none" or luck["u_leak"][interface - 1] < inputs["leak_chance_" + kind]


def liner_stages(depth_ft, spacing_ft):
    """Sleeves of every stage, toe first; a length without a sleeve is a stage too."""
    deepest, shallowest = max(depth_ft), min(depth_ft)
    groups = [[] for _ in range(math.floor((deepest - shallowest) / spacing_ft) + 1)]
    for s, depth in numbered(depth_ft).items():
        groups[math.floor((deepest - depth) / spacing_ft)].append(s)
    return groups


def liner(tally, terms, inputs, luck, max_tries, reach_ft):
    """A liner cemented inside, new perforations; the old sleeves are gone."""
    made = start(tally, inputs, max(tally["depth_ft"]))
    groups = liner_stages(tally["depth_ft"], terms["stage_spacing_ft"])
    made["planned"] = treatable_sleeves(tally)
    made["more_days_before"] = terms["liner_days"]
    made["isolation_usd"] = terms["liner_usd"]
    if luck["u_method"] < terms["liner_fails_chance"]:
        made["called_off"] = True
        keep_old(made, terms["failed_kept_fraction"])
        return made
    keep_old(made, terms["old_kept_fraction"])
    for group in groups:
        lost = bool(group) and luck["u_screen"][min(group) - 1] < terms["stage_fails_chance"]
        for s in group:
            made["effect"][s] = 0.0 if lost else terms["effect_factor"]
            made["placed"][s] = 0.0 if lost else 1.0
    made["stages"] = [group for group in groups if group]
    made["ct_hours"] += terms["drill_out_hours_per_plug"] * (len(groups) - 1)
    made["pumping_hours"] = terms["hours_per_stage"] * len(groups)
    made["isolation_usd"] += terms["stage_usd"] * len(groups)
    made["volumes"] = round(terms["volume_factor"] * len(groups))
    return made


def keep_old(made, fraction):
    for s in made["kept"]:
        made["kept"][s] *= fraction


def finish(made, tally, inputs, luck):
    """Days, rare events, and what is left, under the names `job.rules` gives them."""
    pace = (1.0 + inputs["npt_fraction"]) / inputs["work_hours_per_day"]
    ct_days = made["ct_hours"] * pace + inputs["waiting_days"]
    pumping_days = made["pumping_hours"] * pace
    stuck = luck["u_event"] < inputs["stuck_ct_chance"]
    lost = luck["u_event"] < inputs["stuck_ct_chance"] * inputs["well_lost_chance_given_stuck"]
    u_casing, chance = luck.get("u_casing", 1.0), inputs["casing_failure_chance"]
    casing = u_casing < chance
    lost = lost or u_casing < chance * inputs["well_lost_chance_given_casing_failure"]
    stuck_days = inputs["stuck_ct_days"] if stuck else 0.0
    casing_days = inputs["casing_failure_days"] if casing else 0.0
    before = inputs["days_before_ct"] + made["more_days_before"]
    effect = list(made["effect"].values())
    share = sum(min(1.0, effect[s - 1]) for s in made["planned"]) / max(1, len(made["planned"]))
    return {
        "ct_hours": made["ct_hours"] + made["pumping_hours"],
        "ct_days": ct_days,
        "stuck_days": stuck_days,
        "casing_days": casing_days,
        "casing": casing,
        "days_before": before,
        "frac_days": ct_days if made["stands_by"] else pumping_days,
        "days": before + ct_days + stuck_days + casing_days + pumping_days + inputs["days_after_ct"],
        "stage_volumes": made["volumes"],
        "stages": made["stages"],
        "placed": list(made["placed"].values()),
        "kept": list(made["kept"].values()),
        "effectiveness": effect,
        "called_off": made["called_off"],
        "stuck": stuck,
        "lost": lost,
        "stages_effective_share": 0.0 if made["called_off"] or lost else share,
        "isolation_usd": made["isolation_usd"],
        "count": {
            "trips": made["trips"],
            "screenouts": made["screenouts"],
            **dict.fromkeys(("patches", "perforations", "strings", "slim"), 0),
        },
    }
