"""What a run is and what its reader must know beside the numbers: the facts and notes of the page."""

from __future__ import annotations

import numpy as np

from refracmc import __version__
from refracmc.case.history_told import told_by_well
from refracmc.case.response_told import told_on_the_page
from refracmc.case.validated_case import Case
from refracmc.decisions.drivers import DRIVER_BLOCKS
from refracmc.decisions.well_tables import FAN_BLOCKS
from refracmc.engine.draws import PROCESSES
from refracmc.engine.stored_plans import StoredPlans
from refracmc.errors import Fault
from refracmc.reporting.tables import RunFacts
from refracmc.sampling.streams import BLOCK_SIZE


def run_facts(
    case: Case,
    sizes: list[int],
    refused: dict[str, tuple[Fault, ...]],
    notes: tuple[str, ...] = (),
    well_notes: tuple[tuple[str, str], ...] = (),
) -> RunFacts:
    """What was run; sizes: trials of each block."""
    return RunFacts(
        name=case.name,
        title=case.title,
        data_status=case.data_status,
        trials=case.sampling.trials,
        seed=case.sampling.seed,
        design=case.sampling.design,
        valuation_month=case.valuation.date,
        horizon_months=case.valuation.horizon_months,
        annual_discount_rate=case.valuation.annual_discount_rate,
        terms=case.valuation.terms,
        income_tax=case.fiscal.income_tax is not None,
        price_model=case.prices.model,
        cvar_tail_fraction=case.valuation.cvar_tail_fraction,
        blocks=len(sizes),
        version=__version__,
        refused=tuple(
            (well, "; ".join(str(fault) for fault in faults)) for well, faults in sorted(refused.items())
        ),
        notes=notes,
        well_notes=well_notes,
        response_told=told_on_the_page(case.wells),
        history_told=told_by_well(case),
        fan_trials=sum(sizes[:FAN_BLOCKS]),
        driver_trials=DRIVER_BLOCKS * BLOCK_SIZE,
    )


def price_note(case: Case) -> str:
    """What a reader of the page must know of prices."""
    oil, gas = case.deck.monthly(case.valuation.date, case.valuation.horizon_months)
    middle, last = len(oil) // 2, len(oil) - 1
    prices = case.prices
    text = (
        f"Price deck, month 1 / {middle + 1} / {last + 1}: oil {oil[0]:.2f} / {oil[middle]:.2f} / {oil[last]:.2f} "
        f"US$/bbl, gas {gas[0]:.2f} / {gas[middle]:.2f} / {gas[last]:.2f} US$/Mcf"
    )
    if prices.model in PROCESSES:
        text += (
            f"; prices of a trial move around it with volatilities of {prices.oil_annual_volatility:.0%} (oil) and "
            f"{prices.gas_annual_volatility:.0%} (gas) a year"
        )
    return f"{text}."


def well_notes(plans: StoredPlans) -> list[tuple[str, str]]:
    """What a reader must know of interests, taxes, the lease, the sleeves and doubtful fits, well by well."""
    notes: list[tuple[str, str]] = []
    for plan in plans.outlines:
        settings = plan.well.settings
        fiscal, interests = settings.fiscal, settings.interests
        states = {
            state: [str(k + 1) for k in np.flatnonzero(plan.well.tally.in_state(state))]
            for state in ("leaking", "stuck_open", "stuck_closed", "patched", "perforated")
        }
        odd = ", ".join(
            f"{state.replace('_', ' ')}: sleeve {' '.join(ks)}" for state, ks in states.items() if ks
        )
        leaks = ""
        if states["leaking"]:
            sealed = settings.strategies.leaking_sleeve == "reseat"
            leaks = " What leaks is " + (
                "opened and closed again before a stage below it is pumped."
                if sealed
                else "left as it is, and takes fluid of the stages below it."
            )
        note = (
            f"NPV, capex and cash are net to a working interest of {interests.working:g} and a net revenue "
            f"interest of {interests.net_revenue:g}; job cost, days and EUR are at 100 %. Production taxes "
            f"{fiscal.severance_oil_fraction:.1%} oil, {fiscal.severance_gas_fraction:.1%} gas, ad valorem "
            f"{fiscal.ad_valorem_fraction:.1%}. A well past its limit is held up to "
            f"{settings.opex.lease_holding_months} months for a job; then the lease is lost and no job done. "
            f"Of its {plan.well.tally.count} sleeves on record, {odd or 'none is out of order'}.{leaks}"
        )
        notes.append((plan.id, note))
    for plan, fit in zip(plans.outlines, plans.fits, strict=True):
        if fit is not None:
            notes += [(plan.id, f"fit: {flag}") for flag in fit.diagnostics.get("flags", [])]
    return notes
