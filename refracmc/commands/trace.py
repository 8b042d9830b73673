"""One trial, complete: its inputs, the job step by step, the monthly cash flow, reconciled to its NPV."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from refracmc.case import units
from refracmc.case.load import load_case
from refracmc.commands.chosen_well import plan_of, refuse, under_scenario
from refracmc.commands.trace_text import trace_text
from refracmc.engine.block_model import responds
from refracmc.engine.draws import draw
from refracmc.engine.ledger import LEDGER_COLUMNS, month_ledger, nothing_ledger
from refracmc.engine.one_trial import StrategyInFull, at_its_date, evaluate_one, strategy_log
from refracmc.engine.plan import WellPlan
from refracmc.engine.sized_jobs import effect_of_size
from refracmc.engine.valuation import evaluate
from refracmc.measures import PER_TRIAL, in_json
from refracmc.sampling.streams import BLOCK_SIZE, blocks_of


@dataclass(frozen=True)
class Trace:
    """A trial as plain data; `content` has the keys that `refracmc explain json` lists."""

    content: dict[str, Any]

    def json(self) -> str:
        """The trace as JSON; undefined measures are null."""
        return json.dumps(self.content, indent=2, allow_nan=False)

    def text(self) -> str:
        """The trace for a reader."""
        return trace_text(self.content)


def _strategies_text(plan: WellPlan) -> str:
    names = [strategy.name for strategy in plan.strategies]
    if len(names) <= 6:
        return ", ".join(["nothing", *names])
    return f"nothing, or one of {len(names)} from {names[0]} to {names[-1]}"


def trace_trial(
    path: str | Path,
    *,
    well: str,
    strategy: str,
    trial: int,
    trials: int | None = None,
    seed: int | None = None,
    scenario: str | None = None,
) -> Trace:
    """Trial `trial` (from 0) of a strategy, exactly as `run` with the same trials and seed values it.

    scenario: one of the case, in place of the case as it stands. Raises InputError where the well, strategy, trial or
    scenario does not exist.
    """
    case = under_scenario(load_case(path).with_sampling(trials, seed), scenario)
    plan = plan_of(case, well)
    where = case.path.name
    if strategy not in plan.names:
        import difflib

        close = difflib.get_close_matches(strategy, plan.names, n=1)
        raise refuse(
            f"{where}: --strategy",
            f"'{strategy}'",
            _strategies_text(plan),
            f"did you mean '{close[0]}'?" if close else "name one of them",
        )
    if not 0 <= trial < case.sampling.trials:
        raise refuse(
            f"{where}: --trial", str(trial), f"0 to {case.sampling.trials - 1}", "choose a trial of the run"
        )
    return Trace(trace_content(plan, strategy, trial))


def trace_content(plan: WellPlan, strategy: str, trial: int) -> dict[str, Any]:
    """Everything of one trial as plain data."""
    case = plan.case
    block, row = divmod(trial, BLOCK_SIZE)
    size = blocks_of(case.sampling.trials)[block]
    draws = draw(plan, block, size)
    chosen = [s for s in plan.strategies if s.name == strategy]
    measured = chosen[:1]
    if chosen and chosen[0].trigger is not None:
        plan, fixed = at_its_date(plan, draws, chosen[0], row)
        chosen = [] if fixed is None else [fixed]
    steps: list[dict[str, Any]] = []
    cost: dict[str, float] = {}
    kept: dict[str, Any] = {}
    if chosen:
        streams = evaluate_one(plan, draws, chosen[0])
        ledger = month_ledger(plan, draws, streams, row)
        valued = evaluate(plan, draws, measured).measures
        measures = {name: float(valued[name][1, row]) for name in PER_TRIAL}
        if measures["executed"]:
            steps = [
                {key: _plain(value) for key, value in entry.as_dict().items()}
                for entry in strategy_log(plan, draws, chosen[0], row)
            ]
            cost = {name: float(values[row]) for name, values in streams.parts.items()}
        kept = {
            "responds": bool(responds(draws)[row]),
            "size_effect": float(effect_of_size(plan, draws, chosen[0].size)[row]),
            **_response(streams, row),
        }
    else:
        result = evaluate(plan, draws, plan.dated[:1])
        ledger = nothing_ledger(plan, draws, row)
        measures = {name: float(result.measures[name][0, row]) for name in PER_TRIAL}
    start = units.month_number(case.valuation.date)
    monthly = [
        {"month": units.month_text(start + i), **{name: float(ledger[name][i]) for name in LEDGER_COLUMNS}}
        for i in range(plan.horizon)
    ]
    total = float(np.sum(ledger["present_value_usd"]))
    unit_of = {variable.name: variable.unit for variable in plan.variables}
    inputs = [
        {
            "name": name,
            "value": float(values[row]),
            "unit": unit_of.get(name, "uniform" if "u_" in name or "row" in name else "standard normal"),
        }
        for name, values in sorted(draws.items())
        if values.ndim == 1
    ]
    return {
        "case": case.name,
        "well": plan.id,
        "strategy": strategy,
        "trial": trial,
        "trials": case.sampling.trials,
        "seed": case.sampling.seed,
        "percentiles": "none: one trial",
        "inputs": inputs,
        "luck": {name: values[row].tolist() for name, values in sorted(draws.items()) if values.ndim == 2},
        "forecast": _forecast(plan, draws, row),
        "job": {"days": measures["job_days"], "steps": steps, "cost_usd": cost},
        "response": kept,
        "monthly": monthly,
        "measures": {name: in_json(value) for name, value in measures.items()},
        "reconciliation": {
            "npv_from_months_usd": total,
            "npv_of_run_usd": measures["npv"],
            "difference_usd": total - measures["npv"],
            "job_hours": float(sum(step["hours"] for step in steps)),
            "job_cost_from_parts_usd": float(sum(cost.values())),
        },
    }


def _plain(value: object) -> object:
    return value.item() if isinstance(value, np.generic) else value


def _forecast(plan: WellPlan, draws: dict[str, Any], row: int) -> dict[str, Any]:
    from refracmc.engine.one_trial import forecast_row

    return forecast_row(plan, draws, row)


def _response(streams: StrategyInFull, row: int) -> dict[str, Any]:
    """What the response makes of the job; a well lost keeps nothing and has no effect, whatever the job left."""
    outcome, alive = streams.outcome, 0.0 if streams.outcome.lost[row] else 1.0
    return {
        "new_rate_per_d": streams.detail("new_rate", row),
        "old_stream_kept_fraction": streams.detail("keep", row),
        "cap_scale": streams.detail("scale", row),
        "acceleration_fraction": streams.detail("acceleration", row),
        "depletion_fraction": streams.detail("depletion", row),
        "kept_share": float(outcome.kept_share[row]) * alive,
        "effective_share": float(outcome.effective_share[row]) * alive,
        "well_lost": bool(outcome.lost[row]),
        "called_off": bool(streams.job.called_off[row]),
        "life_months_after_job": int(streams.detail("life", row)) + 1,
        "effectiveness_by_sleeve": (streams.job.effectiveness[row] * alive).tolist(),
        "placed_by_sleeve": streams.job.placed[row].tolist(),
        "kept_by_sleeve": (streams.job.kept[row] * alive).tolist(),
    }
