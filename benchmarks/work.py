"""The case of the benchmark, a block of it ready for every engine, and the engines under one signature.

The case is the demo's first well with a type curve in place of its history, so that no fit is needed: 40 sleeves,
48 strategies, 360 months, a mean-reverting price process with its look-ahead life, no income tax.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from refracmc.case.load import load_case
from refracmc.engine import block_jobs, block_model, money, valuation
from refracmc.engine.block_jobs import JobOutcome
from refracmc.engine.draws import draw
from refracmc.engine.plan import WellPlan, build_plan
from refracmc.measures import PER_TRIAL
from refracmc.sampling.streams import BLOCK_SIZE

from . import floor, small_arrays, whole_arrays
from .inputs import Array, Inputs, Job

DEMO = Path(__file__).parents[1] / "configs" / "demo"
CURVE = """
[wells.type_curve]
initial_rate_per_d = { dist = "lognormal", p90 = 600, p10 = 1000 }
initial_decline_per_year = { dist = "uniform", low = 0.8, high = 2.4 }
b = { dist = "uniform", low = 0.5, high = 0.95 }
terminal_decline_per_year = 0.08
first_production = "2019-04"
peak_rate_per_d = { dist = "lognormal", p90 = 550, p10 = 950 }
uptime = { dist = "uniform", low = 0.9, high = 1.0 }
gas_ratio = 1.6
water_ratio = 1.2
"""


def plan_of_the_case() -> WellPlan:
    """The plan of the benchmark's one well."""
    text = (DEMO / "case.toml").read_text("utf-8")
    first = text.index("[[wells]]")
    well = text[first : text.index("[[wells]]", first + 1)].split("# MH-2")[0]
    well = well.replace('history = "history.csv"', 'forecast = "type_curve"')
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "case.toml"
        path.write_text(text[:first] + well + CURVE, "utf-8")
        for name in ("sleeves.csv", "prices.csv"):
            (Path(folder) / name).write_bytes((DEMO / name).read_bytes())
        case = load_case(path)
    return build_plan(case, case.wells[0], 0, None)


@dataclass(frozen=True)
class Block:
    """A drawn block with its finished jobs, and the same told to the scripts."""

    draws: dict[str, Array]
    jobs: JobOutcome
    told: Inputs


def block_of(plan: WellPlan, number: int, trials: int) -> Block:
    """Draw a block of so many trials, do its jobs and its price paths."""
    draws = draw(plan, number, trials)
    model = block_model.model_block(plan, draws)
    jobs, _ = block_jobs.job_outcomes(plan, draws, model, plan.strategies)
    outcomes = [block_jobs.outcome_rows(jobs, k) for k in range(len(plan.strategies))]
    paths, expected = money._paths(plan, draws, trials)
    assert expected is not None
    assert plan.well.type_curve is not None
    settings, curve = plan.well.settings, plan.well.type_curve
    told = Inputs(
        recovery=model.own.technical,
        new_recovery=model.refrac.technical,
        rate=draws["type_curve.initial_rate_per_d"],
        decline=draws["type_curve.initial_decline_per_year"],
        b=draws["type_curve.b"],
        terminal=draws["type_curve.terminal_decline_per_year"],
        uptime=draws["type_curve.uptime"],
        new_decline=draws["response.decline_per_year"],
        new_b=draws["response.b"],
        new_terminal=draws["response.terminal_decline_per_year"],
        uplift=model.terms[0],
        peak=draws["type_curve.peak_rate_per_d"],
        exponent=draws["response.depletion_exponent"],
        kept=draws["response.kept_fraction"],
        acceleration=draws["response.acceleration_fraction"],
        headroom=1.0 + (draws["response.headroom"] - 1.0) * plan.intensity,
        gas_start=draws["response.gas_start_factor"],
        gas_final=draws["response.gas_final_factor"],
        water_start=draws["response.water_start_factor"],
        water_final=draws["response.water_final_factor"],
        oil=paths.oil,
        gas=paths.gas,
        oil_ahead=expected[0],
        gas_ahead=expected[1],
        oil_differential=draws["prices.oil_differential_usd_per_bbl"],
        gas_differential=draws["prices.gas_differential_usd_per_mcf"],
        ngl_yield=draws["prices.ngl_yield_bbl_per_mcf"],
        ngl_fraction=draws["prices.ngl_price_fraction_of_oil"],
        oil_cost=draws["opex.oil_usd_per_bbl"],
        gas_cost=draws["opex.gas_usd_per_mcf"],
        water_cost=draws["opex.water_usd_per_bbl"],
        fixed_cost=draws["opex.fixed_usd_per_month"],
        holding_cost=draws["opex.holding_usd_per_month"],
        abandonment=draws["opex.abandonment_usd"],
        months_before=float(plan.months_before),
        gas_ratio=float(curve.gas_ratio),
        water_ratio=float(curve.water_ratio),
        change_fraction=settings.response.ratio_change_fraction,
        working=settings.interests.working,
        net_revenue=settings.interests.net_revenue,
        severance_oil=settings.fiscal.severance_oil_fraction,
        severance_gas=settings.fiscal.severance_gas_fraction,
        ad_valorem=settings.fiscal.ad_valorem_fraction,
        annual_rate=plan.case.valuation.annual_discount_rate,
        lease_months=settings.opex.lease_holding_months,
        jobs=tuple(
            Job(
                strategy.month,
                made.days,
                made.cost,
                made.kept_share,
                made.effective_share,
                made.lost.astype(float),
            )
            for strategy, made in zip(plan.strategies, outcomes, strict=True)
        ),
    )
    return Block(draws, jobs, told)


def engine_values(
    plan: WellPlan, block: Block, wanted: Sequence[str] = PER_TRIAL, paths_ready: bool = False
) -> dict[str, Array]:
    """Streams, response and cash of a block whose jobs are done, by the engine; price paths unless they are ready."""
    if not paths_ready:
        money._LAST.clear()  # price paths are made anew: they are part of what is timed
    model = block_model.model_block(plan, block.draws)
    months = valuation.months_of(plan.strategies, model.trials)
    return valuation.value_jobs(plan, model, months, block.jobs, wanted)


def engine_few(plan: WellPlan, block: Block) -> dict[str, Array]:
    """As the scripts: their measures only, from price paths that are ready."""
    return engine_values(plan, block, whole_arrays.MEASURES, paths_ready=True)


def whole_run(plan: WellPlan, number: int, trials: int) -> dict[str, Array]:
    """A block as the product runs it: draws, jobs, prices, streams, cash, all measures."""
    return valuation.evaluate(plan, draw(plan, number, trials)).measures


Timed = Callable[[WellPlan, int], tuple[Callable[[], dict[str, Array]], int]]


def _valuing(function: Callable[[WellPlan, Block], dict[str, Array]], trials: int) -> Timed:
    def make(plan: WellPlan, number: int) -> tuple[Callable[[], dict[str, Array]], int]:
        block = block_of(plan, number, trials)
        return lambda: function(plan, block), trials

    return make


def _running(plan: WellPlan, number: int) -> tuple[Callable[[], dict[str, Array]], int]:
    return lambda: whole_run(plan, number, BLOCK_SIZE), BLOCK_SIZE


@dataclass(frozen=True)
class Engine:
    """One line of the table: what it does, how a round is made."""

    text: str
    make: Timed
    compare: bool = True


ENGINES = {
    "small": Engine(
        "script, one trial at a time", _valuing(lambda _, block: small_arrays.value(block.told), 16)
    ),
    "whole": Engine(
        "script, whole arrays", _valuing(lambda _, block: whole_arrays.value(block.told), BLOCK_SIZE)
    ),
    "floor": Engine(
        "floor: transcendentals, months, output",
        _valuing(lambda _, block: floor.value(block.told), BLOCK_SIZE),
    ),
    "few": Engine("engine, measures of the scripts", _valuing(engine_few, BLOCK_SIZE)),
    "engine": Engine("engine", _valuing(engine_values, BLOCK_SIZE)),
    "run": Engine("engine, with draws and jobs", _running, False),
}
