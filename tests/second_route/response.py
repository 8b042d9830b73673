"""Second route, part 3: what a refrac adds to one trial, month by month, from the job's outcome."""

import math

from tests.second_route.decline import MONTH, hyperbolic_cumulative, ratio_integral, technical_volume


def sleeve_shares(case, luck):
    """Old-production shares v and refrac-potential shares w of one trial, each summing to one (or all zero).

    v only over sleeves that produced before the job, w only over sleeves that can be treated; lognormal about
    an even share unless the tally states them.
    """
    rho = case["share_potential_correlation"]
    v, w = [], []
    for k, z in enumerate(luck["z_share"]):
        zw = rho * z + math.sqrt(1.0 - rho * rho) * luck["z_potential"][k]
        v.append(math.exp(case["share_log_sd"] * z))
        w.append(math.exp(case["potential_log_sd"] * zw))
    v = case["production_share"] or v
    w = case["potential_share"] or w
    v = [x if yes else 0.0 for x, yes in zip(v, case["old_producer"], strict=True)]
    w = [x if yes else 0.0 for x, yes in zip(w, case["treatable"], strict=True)]
    return normalised(v), normalised(w)


def normalised(values):
    total = sum(values)
    return [x / total if total > 0.0 else 0.0 for x in values]


def intensity_factor(response):
    if response.get("intensity_lb_per_ft") is None or response.get("reference_intensity_lb_per_ft") is None:
        return 1.0
    ratio = response["reference_intensity_lb_per_ft"] / response["intensity_lb_per_ft"]
    return ratio ** response["intensity_elasticity"]


def uplift(response):
    """Nothing where the well does not respond, or stands idle and is not brought back.

    Else its own, times what the mean of its record may be off by.
    """
    if response["u_responds"] < response["no_response_chance"]:
        return 0.0
    if response["idle"] and not response["revives_idle"]:
        return 0.0
    return response["uplift"] * response["uplift_record_factor"]


def technical(base, well, limit):
    """What the well gives without a refrac from first production to the technical limit; no less than it gave."""
    made = technical_volume(well["form"], well["slots"], limit)
    return max(well["history_cumulative"] + made, base["made_before"])


def ultimate(response, recovery):
    """The main-phase volume the rock could give: stated, or the well's own with a headroom."""
    if response.get("ultimate") is not None:
        return response["ultimate"]
    headroom = 1.0 + (response["headroom"] - 1.0) * intensity_factor(response)
    return recovery * headroom


def refrac_streams(response, well, base, after, uptime, job, v, w, m, s0, months):
    """Calendar volumes from month 0 to the horizon of the executed refrac, and the numbers behind them.

    base: the stream of doing nothing; after: from month s0 on, as the well runs after the job.
    """

    def unit_cumulative(k):
        decline, terminal = response["decline_per_year"], response["terminal_decline_per_year"]
        return hyperbolic_cumulative(1.0, decline, response["b"], terminal, uptime * MONTH * k)

    shape_edges = [unit_cumulative(k) for k in range(months - m + 1)]
    shape = [shape_edges[k + 1] - shape_edges[k] for k in range(months - m)]

    before_job = base["made_before"] + sum(base["main"][:s0])
    recovery = technical(base, well, response["technical_limit"])
    n_ult = ultimate(response, recovery)
    depletion = min(1.0, before_job / n_ult)
    kept_share = response["kept_fraction"] * sum(a * b for a, b in zip(v, job["kept"], strict=True))
    effect = sum(a * b for a, b in zip(w, job["effectiveness"], strict=True))
    raw_rate = (
        uplift(response)
        * response["play_factor"]
        * intensity_factor(response)
        * response["peak_rate_per_d"]
        * effect
        * response["size_effect"]
        * (1.0 - depletion) ** response["depletion_exponent"]
    )
    if job["lost"]:
        kept_share = raw_rate = 0.0
    old_left = 0.0 if response["idle"] else kept_share * max(recovery - before_job, 0.0)
    # A stream of a whole uplift is counted to the limit, one of half of it to half the limit.
    decline = [response[key] for key in ("decline_per_year", "b", "terminal_decline_per_year")]
    limit = response["technical_limit"] / response["peak_rate_per_d"]
    new_total = technical_volume("modified_hyperbolic", [1.0, *decline], limit)
    new_raw = raw_rate * new_total
    alpha = response["acceleration_fraction"]
    room = n_ult - before_job - old_left
    scale = 1.0
    if new_raw > 0.0:
        # What is brought forward is taken from the old remainder, of which there is no more than all of it.
        most = room + old_left
        if alpha < 1.0:
            most = min(most, room / (1.0 - alpha))
        scale = min(1.0, most / new_raw) if room > 0.0 else 0.0
    accelerated = min(1.0, alpha * scale * new_raw / old_left) if old_left > 0.0 else 0.0
    keep = kept_share * (1.0 - accelerated)
    rate = raw_rate * scale

    new_main = [rate * x for x in shape]
    old_main = [keep * after["main"][k] for k in range(months - m)]
    main = [a + b for a, b in zip(old_main, new_main, strict=True)]
    secondary = {}
    for phase, stream in after["secondary"].items():
        r_now = response["r_now"][phase]
        start = r_now * response[phase + "_start_factor"]
        final = r_now * response[phase + "_final_factor"]
        made = [
            rate * ratio_integral(start, final, response["ratio_change_fraction"] * new_total, x)
            for x in shape_edges
        ]
        secondary[phase] = [keep * stream[k] + made[k + 1] - made[k] for k in range(months - m)]
    return {
        "main": calendar(base["main"], main, job["days"], m, s0, months),
        "secondary": {
            phase: calendar(base["secondary"][phase], values, job["days"], m, s0, months)
            for phase, values in secondary.items()
        },
        "depletion": depletion,
        "scale": scale,
        "acceleration": accelerated,
        "keep": keep,
        "new_rate_per_d": rate,
        "ultimate": n_ult,
        "capped": scale < 1.0,
    }


def calendar(base, after, days, m, s0, months):
    """Base months up to s0, then from the job month the stream after it, later by the days shut in."""
    whole = math.floor(days / MONTH)
    first = 1.0 - (days / MONTH - whole)
    out = []
    for i in range(months):
        if i < m:
            out.append(base[i] if i < s0 else 0.0)
            continue
        j = i - m - whole
        volume = 0.0
        if j >= 0:
            volume += first * after[j]
        if j >= 1:
            volume += (1.0 - first) * after[j - 1]
        out.append(volume)
    return out


def held_back(volumes, response, uptime, days, m):
    """Volumes by phase under the limits after the job: what is above them waits, mixed as it is, for room."""
    liquid, gas = response["liquid_limit_bbl_per_d"], response["gas_limit_mcf_per_d"]
    out = {phase: list(values) for phase, values in volumes.items()}
    waits = dict.fromkeys(out, 0.0)
    back = m + math.floor(days / MONTH)
    for i in range(m, len(out["oil"])):
        there = {phase: out[phase][i] + waits[phase] for phase in out}
        time = uptime * MONTH
        if i == back:
            time *= 1.0 - (days / MONTH - math.floor(days / MONTH))
        shares = [1.0]
        if liquid is not None and there["oil"] + there["water"] > 0.0:
            shares.append(liquid * time / (there["oil"] + there["water"]))
        if gas is not None and there["gas"] > 0.0:
            shares.append(gas * time / there["gas"])
        for phase in out:
            out[phase][i] = min(shares) * there[phase]
            waits[phase] = there[phase] - out[phase][i]
    return out
