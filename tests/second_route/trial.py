"""Second route: one trial of one strategy from its inputs to every measure. See the parts for the rules."""

import math

from tests.second_route import job as ct_job
from tests.second_route import methods, trigger
from tests.second_route import money as cash
from tests.second_route.decline import base_stream, stream_after
from tests.second_route.response import held_back, refrac_streams, sleeve_shares
from tests.second_route.stress import stage_multiplier

PHASES = ("oil", "gas", "water")


def posterior_row(u, technical, ultimate=None):
    """Row of the sorted posterior for one uniform; rows above a stated ultimate are not used."""
    rows = len(technical)
    if ultimate is not None:
        rows = max(1, sum(1 for x in technical if x <= ultimate))
    return min(math.floor(u * rows), rows - 1)


def phases(base, main):
    return {p: base["main"] if p == main else base["secondary"][p] for p in PHASES}


def nothing(trial):
    """The branch of doing nothing: streams, last producing month, cash."""
    base = base_stream(trial["well"], trial["months"])
    volumes = phases(base, trial["main"])
    limit = cash.life_limit(trial["money"], volumes, -1)
    made = {p: [x if i <= limit else 0.0 for i, x in enumerate(volumes[p])] for p in PHASES}
    flow = cash.cash_flow(trial["money"], made, limit, (), 0.0, None)
    return {"base": base, "volumes": made, "limit": limit, "cash": flow}


def run(trial):
    """Nothing, the job, the response, the cash and the measures of one executed (or lapsed) strategy."""
    left = nothing(trial)
    if trial["trigger"] is not None:
        month = fired(trial, left)
        if month is None:
            return lapsed(trial, left)
        trial = trial["at_month"](month)
    base, m, money = left["base"], trial["job_month"], trial["money"]
    months, last = trial["months"], left["limit"]
    if m - 1 - last > trial["lease_holding_months"]:
        return lapsed(trial, left)
    s0 = min(m, last + 1)
    job = simulated(trial)
    parts = ct_job.cost(job, trial["inputs"], trial["rates"])
    multiplier = [
        stage_multiplier(trial["stress"], trial["tally"]["depth_ft"], job["stages"], job["placed"], s)
        for s in range(1, len(job["placed"]) + 1)
    ]
    stressed = dict(job)
    stressed["effectiveness"] = [e * f for e, f in zip(job["effectiveness"], multiplier, strict=True)]
    v, w = sleeve_shares(trial["shares"], trial["luck"])
    response = trial["response"]
    running = response["uptime"] or trial["well"]["running_uptime"]
    after = stream_after(trial["well"], s0, response["uptime"] or trial["well"]["uptime"], months - s0)
    streams = refrac_streams(response, trial["well"], base, after, running, stressed, v, w, m, s0, months)
    full = held_back(phases(streams, trial["main"]), response, running, job["days"], m)
    limit = m if job["lost"] else cash.life_limit(money, full, m)
    volumes = {p: [x if i <= limit else 0.0 for i, x in enumerate(full[p])] for p in PHASES}
    cost = math.fsum(parts.values())
    placed = (
        math.fsum(a * b for a, b in zip(w, stressed["effectiveness"], strict=True)) * response["size_effect"]
    )
    beside = cash.neighbours(money, trial["beside"] if placed > 0.0 else None, m, trial["main"])
    flow = cash.cash_flow(money, volumes, limit, range(s0, m), cost, m, beside)
    values = cash.measures(
        money,
        flow,
        left["cash"],
        volumes,
        left["volumes"],
        base["made_before"],
        m,
        trial["main"],
    )
    return {
        "executed": True,
        "job_month": m,
        "nothing": left,
        "job": job,
        "cost_parts": parts,
        "multiplier": multiplier,
        "streams": streams,
        "limit": limit,
        "volumes": volumes,
        "cash": flow,
        "measures": values | {"job_days": job["days"], "job_cost": cost},
    }


def simulated(trial):
    """The job by its order of stages, or by another isolation method."""
    inputs, luck, policy = trial["inputs"], trial["luck"], trial["policy"]
    if trial["method"] is None:
        return ct_job.simulate(trial["tally"], trial["order"], inputs, luck, policy)
    kind, terms = trial["method"]
    return methods.simulate(
        kind, trial["tally"], terms, inputs, luck, policy["max_tries"], policy["ct_reach_ft"]
    )


def fired(trial, left):
    return trigger.month_of(
        trial["trigger"],
        left["base"]["main"],
        left["limit"],
        trial["money"][trial["main"] + "_price"],
        trial["service_index"],
        trial["lease_holding_months"],
    )


def lapsed(trial, left):
    """The lease ended before the job, or no trigger started it: the strategy is the branch of doing nothing."""
    npv = math.fsum(left["cash"]["discounted"])
    return {
        "executed": False,
        "job_month": None,
        "nothing": left,
        "limit": left["limit"],
        "volumes": left["volumes"],
        "cash": left["cash"],
        "measures": {
            "npv": npv,
            "incremental_npv": 0.0,
            "offset_npv": 0.0,
            "irr": math.nan,
            "mirr": math.nan,
            "payout_months": math.nan,
            "eur": left["base"]["made_before"] + math.fsum(left["volumes"][trial["main"]]),
            "incremental_eur": 0.0,
            "breakeven_price": math.nan,
            "job_days": 0.0,
            "job_cost": 0.0,
        },
    }
