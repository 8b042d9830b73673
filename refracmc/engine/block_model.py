"""Streams, prices and response terms of a block of trials, before any job: draws -> `BlockModel`."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refracmc.case.uncertain_inputs import RESPONDS
from refracmc.production.response import ResponseTerms, headroom_ultimate

from .after_job import NO_LIMIT, AfterJob
from .base import MONTH_DAYS, OwnCurve, Ratio, StreamTable, UnitCurve, other_phases, stream_table, unit_curve
from .draws import ROW, SET
from .money import BlockMoney, block_money
from .neighbours import BlockNeighbours, block_neighbours
from .plan import WellPlan

Array = NDArray[np.float64]
Draws = Mapping[str, Array]
OWN_DRAWS = (ROW, SET, "type_curve.", "response.ultimate")
MONEY_DRAWS = ("prices.", "opex.", "costs.", "job.cost.service_index_beta")
RESPONSE_DRAWS = ("response.", RESPONDS)
SHARE_DRAWS = ("luck.z_share", "luck.z_potential")
"""How the names of the draws begin that the own stream (and with them the refrac stream and its terms), the money and
the shares of sleeves follow from."""


@dataclass(frozen=True, eq=False)
class BlockModel:
    """Streams, prices and response terms of a block, before any job.

    terms (6, n): in the order of ResponseTerms; after: uptime and limits after the job;
    share, potential (n, N): see `_shares`.
    """

    own: OwnCurve
    refrac: UnitCurve
    economics: BlockMoney
    terms: Array
    after: AfterJob
    neighbours: BlockNeighbours
    share: Array
    potential: Array

    @property
    def trials(self) -> int:
        """n."""
        return self.own.row.size


def posterior_rows(plan: WellPlan, draws: Draws) -> NDArray[np.intp]:
    """Row of the posterior each trial of a block takes (n,), all of one set: those whose recovery passes a stated
    ultimate are not used."""
    first, recoveries = _set_of(plan, draws)
    usable: Array | int = recoveries.size
    if "response.ultimate" in draws:
        below = np.searchsorted(recoveries, draws["response.ultimate"], side="right")
        usable = np.maximum(below, 1).astype(np.float64)
    return first + np.minimum(draws[ROW] * usable, recoveries.size - 1).astype(np.intp)


def _set_of(plan: WellPlan, draws: Draws) -> tuple[int, Array]:
    """First row of the set a block takes its rows from, and the technical recoveries of the set."""
    posterior = plan.posterior
    assert posterior is not None
    first = int(draws[SET][0]) * posterior.set_rows
    return first, posterior.technical_eur[first : first + posterior.set_rows]


def responds(draws: Draws) -> Array:
    """Whether the well responds to the job in each trial (n,): 1, or 0 where it brings no new stream.

    Struck once a trial, whatever date or order: the record knows whole jobs of few stages, and cannot tell stages.
    Struck stage by stage it would average out over forty of them to a plain factor on the uplift, and hide the risk.
    """
    chance = draws["response.no_response_chance"]
    return np.ones(chance.size) if RESPONDS not in draws else (draws[RESPONDS] >= chance).astype(np.float64)


LEAST_UPTIME = 1e-9  # of a limit that a well without uptime would have

_TABLES: OrderedDict[tuple[int, int], tuple[WellPlan, StreamTable]] = OrderedDict()
_KEPT_TABLES = 16  # as many wells as a worker does in a row


def _posterior_table(plan: WellPlan, first: int) -> StreamTable:
    """Streams of the set of posterior rows that begins at `first`, kept for the wells used last."""
    key = id(plan), first
    if key not in _TABLES:
        posterior = plan.posterior
        assert posterior is not None
        some = slice(first, first + posterior.set_rows)
        none, running = np.zeros(posterior.set_rows), posterior.running_uptime
        ratios = {
            phase: Ratio(*(np.asarray(part)[some] for part in posterior.secondary[phase]))
            if phase in posterior.secondary
            else Ratio(none, none, none + 1.0)
            for phase in other_phases(plan.well.main_phase)
        }
        table = stream_table(
            posterior.form[some],
            posterior.slots[:, some],
            posterior.uptime[some],
            ratios,
            plan.months_before,
            plan.horizon,
            plan.technical_limit,
            None if running is None else running[some],
        )
        _TABLES[key] = (plan, table)
        if len(_TABLES) > _KEPT_TABLES:
            _TABLES.popitem(last=False)
    return _TABLES[key][1]


def forget_streams() -> None:
    """Let go of the streams of all wells."""
    _TABLES.clear()


def _own(plan: WellPlan, draws: Draws) -> OwnCurve:
    """Own stream of each trial."""
    main, n = plan.well.main_phase, draws["response.uplift"].size
    if plan.posterior is not None:
        first, _ = _set_of(plan, draws)
        row = posterior_rows(plan, draws) - first
        return OwnCurve(main, _posterior_table(plan, first), row, plan.np_anchor)
    curve = plan.well.type_curve
    assert curve is not None
    names = ("initial_rate_per_d", "initial_decline_per_year", "b", "terminal_decline_per_year")
    slots = np.stack([draws[f"type_curve.{name}"] for name in names])
    flat = {"oil": curve.oil_ratio, "gas": curve.gas_ratio, "water": curve.water_ratio}
    ratios = {p: Ratio(*(np.full(n, v) for v in (flat[p], flat[p], 1.0))) for p in other_phases(main)}
    form = np.zeros(n, dtype=np.int8)
    uptime = draws["type_curve.uptime"]
    table = stream_table(form, slots, uptime, ratios, plan.months_before, plan.horizon, plan.technical_limit)
    return OwnCurve(main, table, np.arange(n), plan.np_anchor)


def _shares(plan: WellPlan, draws: Draws) -> tuple[Array, Array]:
    """Shares (n, N) of old production over the old producers and of refrac potential over treatable sleeves: sleeve
    by sleeve in memory, or trial by trial where the loop over the jobs reads them most."""
    by_trial = not plan.methods
    tally, response = plan.well.tally, plan.well.settings.response
    n = draws["luck.z_share"].shape[0]
    rho = response.share_potential_correlation
    z_share = draws["luck.z_share"]
    z_potential = rho * z_share + np.sqrt(max(1.0 - rho * rho, 0.0)) * draws["luck.z_potential"]
    made = []
    for stated, z, sd, mask in (
        (tally.production_share, z_share, response.share_log_sd, tally.old_producers),
        (tally.potential_share, z_potential, response.potential_log_sd, tally.treatable),
    ):
        weight = np.exp(sd * z) if stated is None else np.broadcast_to(stated, (n, tally.count))
        weight = weight * mask
        total = weight.sum(axis=1, keepdims=True)
        weight /= np.where(total > 0.0, total, 1.0)
        made.append(weight if by_trial else np.asfortranarray(weight))
    return made[0], made[1]


def _brought_back(own: OwnCurve, revives_idle: bool) -> Array:
    """1, or 0 where the well stands idle for good and the job does not bring it back (n,)."""
    return np.ones(own.row.size) if revives_idle else np.where(own.idle, 0.0, 1.0)


def _after_job(own: OwnCurve, draws: Draws) -> tuple[Array, AfterJob]:
    """Uptime of the stream that a job brings (n,), and what the job leaves behind; limits are of a producing day."""
    uptime = draws.get("response.uptime")
    running = own.running if uptime is None else uptime
    rates = [
        draws.get(f"response.{name}", np.full(running.size, NO_LIMIT))
        for name in ("liquid_limit_bbl_per_d", "gas_limit_mcf_per_d")
    ]
    return running, AfterJob(uptime, np.stack(rates) * (MONTH_DAYS * np.maximum(running, LEAST_UPTIME)))


def same_draws(draws: Draws, others: Draws, *names: str) -> bool:
    """Whether all draws whose names begin so are the very arrays of others."""
    return all(values is others.get(key) for key, values in draws.items() if key.startswith(names))


def model_block(plan: WellPlan, draws: Draws, like: tuple[Draws, BlockModel] | None = None) -> BlockModel:
    """Everything of a block that comes before the job.

    like: draws some of which are these very arrays, and their model. What follows from those alone is taken from it.
    """
    response = plan.well.settings.response
    alike = ({}, None) if like is None else like

    def held(*names: str) -> BlockModel | None:
        """The model of `like`, if all draws whose names begin so are its own."""
        return alike[1] if same_draws(draws, alike[0], *names) else None

    own = known.own if (known := held(*OWN_DRAWS)) else _own(plan, draws)
    economics = known.economics if (known := held(*MONEY_DRAWS)) else block_money(plan, draws)
    neighbours = block_neighbours(plan, draws, economics.fiscal, economics.escalation)
    known = held(*SHARE_DRAWS)
    share, potential = (known.share, known.potential) if known else _shares(plan, draws)
    if known := held(*OWN_DRAWS, *RESPONSE_DRAWS):
        return BlockModel(
            own, known.refrac, economics, known.terms, known.after, neighbours, share, potential
        )
    main = plan.well.main_phase
    now = {phase: own.table.ratios[phase].now[own.row] for phase in other_phases(main)}
    ends = {
        phase: (
            now[phase] * draws[f"response.{phase}_start_factor"],
            now[phase] * draws[f"response.{phase}_final_factor"],
        )
        for phase in other_phases(main)
    }
    n = own.row.size
    slots = np.stack(
        [
            np.ones(n),
            draws["response.decline_per_year"],
            draws["response.b"],
            draws["response.terminal_decline_per_year"],
        ]
    )
    change = response.ratio_change_fraction
    running, after = _after_job(own, draws)
    q_peak = draws["type_curve.peak_rate_per_d"] if plan.q_peak is None else np.full(n, plan.q_peak)
    refrac = unit_curve(main, slots, running, ends, change, plan.horizon, plan.technical_limit / q_peak)
    headroom = headroom_ultimate(own.technical, draws["response.headroom"], plan.intensity)
    stated = draws.get("response.ultimate")
    terms = {
        "uplift": draws["response.uplift"]
        * draws["response.play_factor"]
        * plan.intensity
        * (draws["response.uplift_record_factor"] * responds(draws))
        * _brought_back(own, response.revives_idle),
        "q_peak": q_peak,
        "ultimate": headroom if stated is None else np.where(np.isnan(stated), headroom, stated),
    }
    given = np.array(
        [terms[name] if name in terms else draws[f"response.{name}"] for name in ResponseTerms._fields]
    )
    return BlockModel(own, refrac, economics, given, after, neighbours, share, potential)
