"""Second route, part 2b: one trial of the coiled-tubing job, walked through action by action.

Inputs, luck, policy and rates are dicts of floats under the key names of the case (luck of sleeves: lists,
entry s - 1 for sleeve s). Hours are working hours before non-productive time.

The rules that are off unless asked for (patches that narrow the bore, closures that leak, casing failure) were added
by the author of the package's job, then read by another against the text, sentence by sentence. Planned changes are in
`changes`, where they are found in another way.
"""

import collections
import functools
import math

from tests.second_route.plan import cycles_before, plan_job, travel_ft

SHIFT_CHANCE = {
    "close": "close_chance",
    "open": "open_chance",
    "reclose": "reclose_chance",
    "reopen": "reopen_chance",
}


def average_chance(mu, sd):
    """Mean of 1 / (1 + exp(-(mu + sd Z))) over a standard normal Z, by the trapezoidal rule."""
    # The poles of the integrand are pi / sd off the axis: errors of exp(-2 pi pi / (sd step)), below 1e-18.
    step = min(0.4, 0.45 / sd) if sd > 0.0 else 0.4
    count = int(9.5 / step)
    total = weight = 0.0
    for i in range(-count, count + 1):
        z = i * step
        w = math.exp(-0.5 * z * z)
        x = mu + sd * z
        total += w / (1.0 + math.exp(-x)) if x > -700.0 else 0.0
        weight += w
    return total / weight


@functools.lru_cache(maxsize=4096)
def intercept(chance, sd, terms=(0.0,)):
    """The mu for which the chance averaged over effects and over the well's sleeves is the stated one.

    terms: what the logit of each sleeve has besides on the valuation date.
    """
    often = collections.Counter(terms)
    if chance <= 0.0:
        return -math.inf
    if chance >= 1.0:
        return math.inf
    reach = 60.0 * (1.0 + sd) + max(abs(term) for term in terms)
    low, high = -reach, reach
    for _ in range(56):
        middle = 0.5 * (low + high)
        total = math.fsum(times * average_chance(middle + term, sd) for term, times in often.items())
        if total / len(terms) < chance:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def critical_logit(u, tries):
    """A shift works within so many tries where its logit exceeds this."""
    if u <= 0.0:
        return -math.inf
    p = -math.expm1(math.log1p(-u) / tries)
    return math.log(p) - math.log1p(-p)


class Trial:
    """The well as the job finds and leaves it, and the clock."""

    def __init__(self, tally, inputs, luck, policy, cycles):
        self.tally, self.inputs, self.luck, self.policy, self.cycles = tally, inputs, luck, policy, cycles
        count = len(tally["depth_ft"])
        sleeves = range(1, count + 1)
        state = dict(enumerate(tally["state"], start=1))
        self.sleeves = sleeves
        self.is_open = {s: state[s] in ("open", "stuck_open", "perforated") for s in sleeves}
        self.leaking = {s: state[s] == "leaking" for s in sleeves}
        self.cannot_close = {s: state[s] in ("stuck_open", "perforated") for s in sleeves}
        self.patched = {s: state[s] == "patched" for s in sleeves}
        self.stuck_shut = dict.fromkeys(sleeves, False)
        self.producer = {s: state[s] in ("open", "stuck_open", "perforated", "leaking") for s in sleeves}
        self.failed_close = dict.fromkeys(sleeves, False)
        self.placed = dict.fromkeys(sleeves, 0.0)
        self.received = dict.fromkeys(sleeves, 0.0)
        self.pumped = dict.fromkeys(sleeves, 0.0)
        self.treated = []
        self.shut_in_job = set()
        self.log = []
        self.hours = dict.fromkeys(
            ("tries", "tests", "stages", "screenouts", "patches", "perforations", "trips", "slim"), 0.0
        )
        self.count = dict.fromkeys(
            ("tries", "tests", "screenouts", "patches", "perforations", "trips", "failed", "slim", "strings"),
            0,
        )
        self.seeping = dict.fromkeys(sleeves, False)  # closed in the job, not tight, not found
        self.narrow = dict.fromkeys(sleeves, False)  # stage through slim tools

    def luck_of(self, name, s):
        return self.luck[name][s - 1]

    def logit(self, kind, s):
        i = self.inputs
        sd = math.hypot(i["well_effect_sd"], i["sleeve_effect_sd"])
        tally = self.tally
        terms = tuple(
            i["age_slope_per_year"] * age + i["cycle_slope"] * shifts
            for age, shifts in zip(tally["age_years_now"], tally["shifts"], strict=True)
        )
        return (
            intercept(i[SHIFT_CHANCE[kind]], sd, terms)
            + i["age_slope_per_year"] * self.tally["age_years"][s - 1]
            + i["cycle_slope"] * self.cycles[kind, s]
            + i["well_effect_sd"] * self.luck["z_well"]
            + i["sleeve_effect_sd"] * self.luck_of("z_sleeve", s)
        )

    def shift(self, kind, s, movements=1):
        """Try up to max_tries times, each of so many movements; True if it worked."""
        logit = self.logit(kind, s)
        u = self.luck_of("u_" + kind, s)
        most = self.policy["max_tries"]
        tries, worked = most, False
        for j in range(1, most + 1):
            if logit > critical_logit(u, j):
                tries, worked = j, True
                break
        tries *= movements
        self.count["tries"] += tries
        self.hours["tries"] += tries * self.inputs["hours_per_try"]
        if worked and kind in ("close", "reclose"):
            self.count["tests"] += 1
            self.hours["tests"] += self.inputs["hours_per_test"]
            self.seeping[s] = False
            chance = self.inputs.get("closed_leak_chance", 0.0)
            if chance > 0.0:
                u = self.luck_of("u_tight_" + kind, s)
                if u < chance * (1.0 - self.inputs["leak_test_finds_chance"]):
                    self.seeping[s] = True
                elif u < chance:
                    self.count["tries"] += 1
                    self.count["tests"] += 1
                    self.hours["tries"] += self.inputs["hours_per_try"]
                    self.hours["tests"] += self.inputs["hours_per_test"]
        self.log.append((kind, s, tries, "done" if worked else "failed"))
        return worked

    def patch(self, s):
        """Seal a sleeve that will not close; the try costs its hours whether it holds or not."""
        self.count["patches"] += 1
        self.hours["patches"] += self.inputs["patch_hours"]
        worked = self.luck_of("u_patch", s) < self.inputs["patch_success"]
        if worked:
            self.patched[s], self.is_open[s] = True, False
        self.log.append(("patch", s, 1, "done" if worked else "failed"))

    def perforate(self, s, luck):
        self.count["perforations"] += 1
        self.hours["perforations"] += self.inputs["perforate_hours"]
        worked = self.luck_of(luck, s) < self.inputs["perforate_success"]
        if worked:
            self.is_open[s], self.cannot_close[s], self.leaking[s] = True, True, False
        self.log.append(("perforate", s, 1, "done" if worked else "failed"))
        return worked

    def below_a_patch(self, s):
        """Whether tools no longer reach the sleeve."""
        return self.policy.get("patched_restricts") == "lost" and any(
            self.set_here(j) for j in self.sleeves if j > s
        )

    def set_here(self, s):
        return self.patched[s] and self.tally["state"][s - 1] != "patched"

    def close(self, s):
        movements = 1
        if self.leaking[s]:  # opened, then closed to seal
            self.leaking[s], self.is_open[s] = False, True
            movements = 2
        if self.shift("close", s, movements):
            self.is_open[s] = False
            self.shut_in_job.add(s)
            return
        self.count["failed"] += 1
        self.failed_close[s] = True

    def treat(self, s):
        """The opening shift if the sleeve stands closed, then the stage with all its losses of fluid."""
        if self.patched[s] or self.below_a_patch(s):
            self.log.append(("treat", s, 0, "patched"))
            return
        if not self.is_open[s]:
            if self.shift("open", s):
                self.is_open[s], self.leaking[s] = True, False
            elif self.policy["when_not_opening"] != "perforate" or not self.perforate(s, "u_perforate"):
                self.stuck_shut[s] = True
                self.shut_in_job.discard(s)
                return
            self.shut_in_job.discard(s)
        i = self.inputs
        self.treated.append(s)
        if self.policy.get("patched_restricts") == "slim" and any(
            self.patched[j] for j in self.sleeves if j > s
        ):
            self.count["slim"] += 1
            self.hours["slim"] += i["slim_hours_per_stage"]
        self.hours["stages"] += i["hours_per_stage"] * math.exp(
            i["stage_hours_log_sd"] * self.luck_of("z_stage", s) - 0.5 * i["stage_hours_log_sd"] ** 2
        )
        fluid = 1.0
        if self.luck_of("u_screen", s) < i["screenout_chance"]:
            fluid = i["screenout_placed_fraction"]
            self.count["screenouts"] += 1
            self.hours["screenouts"] += i["screenout_hours"]
        self.pumped[s] = fluid
        if self.luck_of("u_trip", s) < i["trip_chance_per_stage"]:
            self.count["trips"] += 1
        exposed = {}
        for other in self.sleeves:
            if other > s:
                if self.is_open[other]:
                    exposed[other] = 1.0
                elif self.patched[other]:
                    continue
                elif self.leaking[other] or self.seeping[other]:
                    exposed[other] = i["leak_fluid_fraction"]
        take = i["open_sleeve_take"]
        parts = 1.0 + take * sum(exposed.values())
        own = fluid / parts
        for other, weight in exposed.items():
            self.received[other] += fluid * take * weight / parts
        kept = own
        for neighbour in (s + 1, s - 1):
            # The interface above a sleeve joins it to the next shallower one.
            interface = s if neighbour > s else s - 1
            if neighbour in self.sleeves and self.leaks(interface):
                self.received[neighbour] += own * i["leak_fluid_fraction"]
                kept -= own * i["leak_fluid_fraction"]
        self.placed[s] = kept
        self.log.append(("treat", s, 0, "screenout" if fluid < 1.0 else "done"))

    def leaks(self, interface):
        isolation = self.tally["isolation"][interface - 1]
        if isolation == "none":
            return True
        return self.luck_of("u_leak", interface) < self.inputs["leak_chance_" + isolation]

    def reclose(self, s):
        if s not in self.treated or self.cannot_close[s] or self.failed_close[s]:
            return
        if self.shift("reclose", s):
            self.is_open[s] = False
            self.shut_in_job.add(s)
        else:
            self.failed_close[s] = True

    def reopen(self, s):
        if s not in self.shut_in_job or self.is_open[s] or self.stuck_shut[s] or self.below_a_patch(s):
            return
        if self.shift("reopen", s):
            self.is_open[s] = True
        elif self.policy["when_not_reopening"] == "perforate":
            self.perforate(s, "u_perforate2")
        self.shut_in_job.discard(s)


def simulate(tally, order, inputs, luck, policy):
    """The whole job of one trial: its log, hours, days, and what it leaves behind."""
    order = list(order)
    actions = plan_job(
        tally,
        order,
        policy["close_policy"],
        policy["reclose_habit"],
        policy.get("ct_reach_ft"),
        policy.get("leaking_sleeve", "reseat"),
    )
    trial = Trial(tally, inputs, luck, policy, cycles_before(tally, actions))
    first_stage = next(i for i, (kind, _) in enumerate(actions) if kind == "treat")
    counted = [s for kind, s in actions[:first_stage] if kind in ("close", "reseat")]
    feet = travel_ft(tally, actions)

    for s in counted:
        trial.close(s)
    allowed = policy["stop_loss_failed_closes"]
    called_off = allowed is not None and sum(trial.failed_close[s] for s in counted) > allowed
    if called_off:
        feet = 2.0 * max(tally["depth_ft"][s - 1] for s in counted)
        for s in sorted(trial.shut_in_job):
            trial.cycles["reopen", s] = trial.cycles["close", s] + 1
            trial.reopen(s)
    else:
        go_through(trial, order, actions, counted)
    return finish(trial, order, feet, called_off)


def go_through(trial, order, actions, closed_before):
    """All stages of a job that is not called off."""
    patching = trial.policy["when_not_closing"] == "patch"
    for s in reversed(trial.sleeves):
        known = trial.failed_close[s] or trial.cannot_close[s]
        if patching and known and s > min(order) and not trial.below_a_patch(s):
            trial.patch(s)
    for kind, s in actions:
        if kind in ("close", "reseat") and s not in closed_before:
            if trial.below_a_patch(s):
                continue
            trial.close(s)
            if patching and trial.failed_close[s]:
                trial.patch(s)
        elif kind == "treat":
            trial.treat(s)
        elif kind == "reclose":
            trial.reclose(s)
        elif kind == "reopen":
            trial.reopen(s)


def finish(trial, order, feet, called_off):
    i, luck = trial.inputs, trial.luck
    treated = len(trial.treated)
    planned = trial.policy.get("changes")
    if planned is None:
        trial.count["trips"] += math.floor(max(treated - 1, 0) / i["stages_per_bha"])
    trial.count["trips"] += 1 if trial.count["slim"] else 0
    trial.hours["trips"] = trial.count["trips"] * i["hours_per_trip"]
    if planned is not None and not called_off:
        for kind, depth in planned:
            feet += 2.0 * depth
            trial.hours["trips"] += i[kind + "_change_hours"]
            trial.count["trips" if kind == "bha" else "strings"] += 1
    trial.hours["travel"] = feet / (60.0 * i["ct_speed_ft_per_min"])
    trial.hours["cleanout"] = i["cleanout_hours"]
    stuck = luck["u_event"] < i["stuck_ct_chance"]
    lost = luck["u_event"] < i["stuck_ct_chance"] * i["well_lost_chance_given_stuck"]
    casing = luck.get("u_casing", 1.0) < i.get("casing_failure_chance", 0.0)
    if casing and luck["u_casing"] < i["casing_failure_chance"] * i["well_lost_chance_given_casing_failure"]:
        lost = True
    casing_days = i["casing_failure_days"] if casing else 0.0
    ct_hours = math.fsum(trial.hours.values())
    ct_days = ct_hours * (1.0 + i["npt_fraction"]) / i["work_hours_per_day"] + i["waiting_days"]
    stuck_days = i["stuck_ct_days"] if stuck else 0.0
    kept, effect, producing = [], [], []
    for s in trial.sleeves:
        produces = trial.is_open[s] or trial.leaking[s]
        value = min(1.0, trial.placed[s] + i["stray_fluid_value"] * trial.received[s])
        producing.append(produces)
        kept.append(1.0 if produces and trial.producer[s] else 0.0)
        effect.append(value if produces and not called_off else 0.0)
    share = 0.0 if called_off or lost else sum(effect[s - 1] for s in order) / len(order)
    return {
        "log": trial.log,
        "hours": trial.hours,
        "count": trial.count,
        "ct_hours": ct_hours,
        "ct_days": ct_days,
        "stuck_days": stuck_days,
        "casing_days": casing_days,
        "casing": casing,
        "days": i["days_before_ct"] + ct_days + stuck_days + casing_days + i["days_after_ct"],
        "days_before": i["days_before_ct"],
        "frac_days": ct_days,  # the pumping crew stands by
        "isolation_usd": 0.0,
        "treated": trial.treated,
        "stage_volumes": treated,
        "stages": [[s] for s in order],
        "pumped": [trial.pumped[s] for s in trial.sleeves],
        "placed": [trial.placed[s] for s in trial.sleeves],
        "received": [trial.received[s] for s in trial.sleeves],
        "kept": kept,
        "effectiveness": effect,
        "producing": producing,
        "called_off": called_off,
        "stuck": stuck,
        "lost": lost,
        "stages_effective_share": share,
    }


def cost(job, inputs, rates):
    """Gross cost of the job (US$) part by part; every part moves with the service index."""
    treated = job["stage_volumes"]
    water = treated * rates["water_bbl_per_stage"]
    parts = {
        "mobilisation": rates["mobilisation_usd"],
        "workover": rates["workover_usd_per_day"] * job["days_before"],
        "ct_spread": rates["ct_spread_usd_per_day"] * (job["ct_days"] + job["stuck_days"]),
        "frac_spread": rates["frac_spread_usd_per_day"] * job["frac_days"],
        "materials": rates["stage_materials_usd"] * treated,
        "water": water * rates["water_usd_per_bbl"],
        "trips": rates["trip_usd"] * job["count"]["trips"],
        "patches": rates["patch_usd"] * job["count"]["patches"],
        "perforations": rates["perforate_usd"] * job["count"]["perforations"],
        "screenouts": rates["screenout_usd"] * job["count"]["screenouts"],
        "stuck_ct": rates["stuck_ct_usd"] if job["stuck"] else 0.0,
        "well_lost": rates["well_lost_usd"] if job["lost"] else 0.0,
        "cancellation": rates["cancellation_usd"] if job["called_off"] else 0.0,
        "flowback": rates["flowback_usd_per_day"] * inputs["days_after_ct"],
        "load_disposal": water * rates["load_recovery_fraction"] * rates["load_disposal_usd_per_bbl"],
        "string_changes": rates.get("string_change_usd", 0.0) * job["count"]["strings"],
        "slim_tools": rates.get("slim_stage_usd", 0.0) * job["count"]["slim"],
        "casing_failure": rates["workover_usd_per_day"] * job["casing_days"]
        + (rates.get("casing_failure_usd", 0.0) if job["casing"] else 0.0),
        "isolation": job["isolation_usd"],
    }
    return {name: value * rates["service_index"] for name, value in parts.items()}
