"""The engine and the second route on the same drawn trials: everything the two do not agree on."""

import math

import numpy as np

from refracmc.engine.draws import draw
from refracmc.engine.ledger import month_ledger, nothing_ledger
from refracmc.engine.one_trial import at_its_date, evaluate_one
from refracmc.engine.valuation import evaluate
from tests.second_route import trial as second
from tests.second_route.inputs import trial_inputs

TOLERANCE = 1e-9
MEASURES = (
    "npv",
    "incremental_npv",
    "offset_npv",
    "irr",
    "mirr",
    "payout_months",
    "eur",
    "incremental_eur",
    "breakeven_price",
    "job_days",
    "job_cost",
)


def drawn_rows(plan, rows, block=0):
    """The drawn values of some trials of a block, in the order of `rows`."""
    whole = draw(plan, block, max(rows) + 1)
    return {name: values[list(rows)] for name, values in whole.items()}


def close(engine, plain, scale=0.0):
    """Equal to 1e-9 of the number itself, or of `scale`, the size of the terms it is the difference of."""
    engine, plain = float(engine), float(plain)
    if math.isnan(engine) or math.isnan(plain):
        return math.isnan(engine) and math.isnan(plain)
    if math.isinf(engine) or math.isinf(plain):
        return engine == plain
    return abs(engine - plain) <= TOLERANCE * max(abs(engine), abs(plain), scale)


def column(name, engine, plain, out, size=0.0):
    """Monthly columns: each month to 1e-9 of itself, or of `size`: the terms it is the difference of."""
    engine, plain = np.asarray(engine, float), np.asarray(plain, float)
    allowed = TOLERANCE * np.maximum(np.maximum(np.abs(plain), np.abs(engine)), size)
    bad = np.flatnonzero(~(np.abs(engine - plain) <= allowed))
    if bad.size:
        i = int(bad[0])
        out.append(f"{name}: {bad.size} months differ, month {i}: engine {engine[i]!r}, plain {plain[i]!r}")


def compare_trial(plan, draws, strategy, t, streams, measures):
    """Differences of one trial of one strategy, as texts; measures: name -> trials."""
    out: list[str] = []
    inputs = trial_inputs(plan, draws, strategy, t)
    mine = second.run(inputs)
    left = nothing_ledger(plan, draws, t)
    sliver = slivers(mine, inputs["main"])
    cash_columns(left, mine["nothing"], "nothing", sliver, out)
    if streams.executed(t) != mine["executed"]:
        return [*out, f"executed: engine {streams.executed(t)}, plain {mine['executed']}"]
    if int(streams.cash.limit[t]) != mine["nothing"]["limit"]:
        out.append(f"life alone: engine {streams.cash.limit[t]}, plain {mine['nothing']['limit']}")
    if mine["executed"]:
        life = mine["job_month"] + int(streams.detail("life", t))
        if life != mine["limit"]:
            out.append(f"life: engine {life}, plain {mine['limit']}")
        job_numbers(streams, t, mine, out)
    cash_columns(month_ledger(plan, draws, streams, t), mine, "strategy", sliver, out)
    more = abs(mine["measures"]["incremental_eur"])
    gross = mine["measures"]["eur"] + mine["nothing"]["base"]["main"][0]
    sizes = {
        "breakeven_price": min(mine["measures"]["breakeven_price"], 1e3) * (gross / more if more else 0.0),
        "incremental_npv": math.fsum(abs(x) for x in mine["cash"]["discounted"]),
        "npv": math.fsum(abs(x) for x in mine["cash"]["discounted"]),
        "incremental_eur": mine["measures"]["eur"],
        "offset_npv": math.fsum(abs(x) for x in mine["cash"]["beside"]),
        "mirr": 1.0,
    }
    return out + measures_apart(measures, mine["measures"], t, sizes)


def measures_apart(measures, plain, t, sizes):
    """Measures of a trial that differ, as texts; sizes: see `close`."""
    return [
        f"{name}: engine {measures[name][t]!r}, plain {plain[name]!r}"
        for name in MEASURES
        if not close(measures[name][t], plain[name], sizes.get(name, 0.0))
    ]


def compare_triggered(plan, draws, strategy, t, measures):
    """As `compare_trial` where a trigger sets the date: its month first, then the trial at that date."""
    mine = second.run(trial_inputs(plan, draws, strategy, t))
    its_plan, dated = at_its_date(plan, draws, strategy, t)
    month = None if dated is None else dated.month
    if month != mine["job_month"] and mine["executed"]:
        return [f"trigger: engine month {month}, plain {mine['job_month']}"]
    if dated is None:
        return measures_apart(measures, mine["measures"], t, {})
    streams = evaluate_one(its_plan, draws, dated)
    return compare_trial(its_plan, draws, strategy, t, streams, measures)


def slivers(mine, main):
    """Volumes that tell a month's rounding: it is a difference of cumulatives, cut by one of days."""
    base = mine["nothing"]["base"]
    streams = [second.phases(base, main)]
    if mine["executed"]:
        streams.append(second.phases(mine["streams"], main))
    largest = {phase: max(max(stream[phase]) for stream in streams) for phase in second.PHASES}
    if not largest[main]:
        return largest
    behind = max(base["made_before"], largest[main]) / largest[main]
    return {phase: 1e-5 * volume * behind for phase, volume in largest.items()}


def job_numbers(streams, t, mine, out):
    job, plain = streams.job, mine["job"]
    for name in ("days", "ct_hours", "called_off", "stuck", "lost", "stages_effective_share"):
        if not close(getattr(job, name)[t], plain[name]):
            out.append(f"job {name}: engine {getattr(job, name)[t]!r}, plain {plain[name]!r}")
    for name in ("kept", "effectiveness", "placed"):
        if not np.allclose(getattr(job, name)[t], plain[name], rtol=TOLERANCE, atol=1e-15):
            out.append(f"job {name}: engine {getattr(job, name)[t]}, plain {plain[name]}")
    for name, value in mine["cost_parts"].items():
        if not close(streams.parts[name][t], value):
            out.append(f"cost {name}: engine {streams.parts[name][t]!r}, plain {value!r}")
    for name, own in (
        ("new_rate", "new_rate_per_d"),
        ("keep", "keep"),
        ("scale", "scale"),
        ("acceleration", "acceleration"),
        ("depletion", "depletion"),
    ):
        if not close(streams.detail(name, t), mine["streams"][own], 1e-6):
            out.append(f"{name}: engine {streams.detail(name, t)!r}, plain {mine['streams'][own]!r}")


def cash_columns(ledger, branch, name, sliver, out):
    for phase, key in (("oil", "oil_bbl"), ("gas", "gas_mcf"), ("water", "water_bbl")):
        column(f"{name} {key}", ledger[key], branch["volumes"][phase], out, sliver[phase])
    cash = branch["cash"]
    before_tax = (
        ledger["revenue_usd"] + ledger["production_tax_usd"] + ledger["opex_usd"] + ledger["holding_usd"]
    )
    turnover = ledger["revenue_usd"] - ledger["opex_usd"]
    discounted = turnover * ledger["discount_factor"]
    column(f"{name} operating", before_tax, cash["operating_net"], out, turnover)
    column(f"{name} holding", -ledger["holding_usd"], cash["holding"], out)
    column(f"{name} capex", -ledger["capex_usd"], cash["capex"], out)
    column(f"{name} abandonment", -ledger["abandonment_usd"], cash["abandonment"], out)
    column(f"{name} tax", -ledger["income_tax_usd"], cash["tax"], out, turnover)
    beside = cash["beside"]
    column(f"{name} offset wells", ledger["offset_wells_usd"], beside, out, 1e-3 * np.abs(beside).max())
    column(f"{name} net", ledger["net_cash_usd"], cash["net"], out, turnover)
    column(f"{name} present value", ledger["present_value_usd"], cash["discounted"], out, discounted)


def compare(plan, rows_of, block=0, edit=None):
    """Differences of the two routes; rows_of: strategy -> trials of the block to compare; edit: name -> value that the
    draw of that name has in all of them.

    Returns (number of trials compared, {(well, strategy, trial): texts}).
    """
    rows = sorted({t for chosen in rows_of.values() for t in chosen})
    draws = drawn_rows(plan, rows, block)
    for name, value in (edit or {}).items():
        assert name in draws, name
        draws[name] = np.full_like(draws[name], value)
    found, count = {}, 0
    strategies = [s for s in plan.strategies if s.name in rows_of]
    measured = evaluate(plan, draws, strategies).measures
    for k, strategy in enumerate(strategies):
        measures = {name: values[1 + k] for name, values in measured.items()}
        streams = evaluate_one(plan, draws, strategy) if strategy.trigger is None else None
        for trial in rows_of[strategy.name]:
            t = rows.index(trial)
            if streams is not None:
                texts = compare_trial(plan, draws, strategy, t, streams, measures)
            else:
                texts = compare_triggered(plan, draws, strategy, t, measures)
            count += 1
            if texts:
                found[plan.id, strategy.name, trial] = texts
    return count, found
