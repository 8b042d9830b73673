"""Registry of every quantity that is stated, drawn or reported: name, symbol, unit, meaning, source.

Headings, axes and tables take their words and units from here, so that one quantity is called one thing
everywhere. Inputs carry the key path of the case file as their name. ``source`` is where the DEFINITION
comes from (a paper, "definition", or "common practice, no source"); the source of a default value stands with
the default in the case schema.

Standard library only. The measures come from their records in :mod:`refracmc.measures`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from refracmc.measures import SUMMARY


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity.

    name: key (measure name or key path of the case, e.g. ``response.uplift``).
    symbol: short symbol used in formulas ("" where none is in use).
    unit: unit as shown ("1" for a plain number or share; "US$", "days", "months", "bbl/d" ...).
    meaning: one sentence.
    source: where the definition comes from.
    """

    name: str
    symbol: str
    unit: str
    meaning: str
    source: str


_DEF = "definition"
_CP = "common practice, no source"
_ARPS = "Arps 1945; Robertson 1988 (SPE-18731)"
_STRESS = "Sneddon 1946; Sneddon & Elliott 1946 (plane-strain crack)"

_INPUTS: tuple[tuple[str, str, str, str, str], ...] = (
    ("forecast.posterior", "", "row",
     "Row of the joint decline posterior (rate, declines, b, uptime together)",
     _ARPS),
    ("prices.oil_level", "", "1", "Factor on the whole oil price deck", _CP),
    ("prices.gas_level", "", "1", "Factor on the whole gas price deck", _CP),
    ("prices.oil_usd_per_bbl", "", "US$/bbl", "Flat oil price", _DEF),
    ("prices.gas_usd_per_mcf", "", "US$/Mcf", "Flat gas price", _DEF),
    ("prices.oil_annual_volatility", "sigma", "1/year^0.5", "Volatility of the log oil price", "Schwartz 1997"),
    ("prices.gas_annual_volatility", "sigma", "1/year^0.5", "Volatility of the log gas price", "Schwartz 1997"),
    ("prices.oil_reversion_per_year", "kappa", "1/year",
     "Speed at which the log oil price reverts", "Schwartz 1997"),
    ("prices.gas_reversion_per_year", "kappa", "1/year",
     "Speed at which the log gas price reverts", "Schwartz 1997"),
    ("prices.oil_gas_correlation", "rho", "1", "Correlation of the oil and gas price shocks", _DEF),
    ("prices.oil_differential_usd_per_bbl", "", "US$/bbl", "Added to the oil price at the well", _CP),
    ("prices.gas_differential_usd_per_mcf", "", "US$/Mcf", "Added to the gas price at the well", _CP),
    ("prices.ngl_yield_bbl_per_mcf", "", "bbl/Mcf", "Natural gas liquids per gas volume", _CP),
    ("prices.ngl_price_fraction_of_oil", "", "1", "Price of the liquids as a share of the oil price", _CP),
    ("fiscal.severance_oil_fraction", "", "1", "Severance tax on oil revenue", _CP),
    ("fiscal.severance_gas_fraction", "", "1", "Severance tax on gas revenue", _CP),
    ("fiscal.ad_valorem_fraction", "", "1", "Ad valorem tax on revenue", _CP),
    ("fiscal.income_tax.rate", "", "1", "Income tax rate", _CP),
    ("fiscal.income_tax.intangible_fraction", "", "1", "Share of the job cost expensed at once", _CP),
    ("opex.fixed_usd_per_month", "", "US$/month",
     "Fixed operating cost while on production or in the job", _CP),
    ("opex.oil_usd_per_bbl", "", "US$/bbl", "Variable operating cost of oil", _CP),
    ("opex.gas_usd_per_mcf", "", "US$/Mcf", "Variable operating cost of gas", _CP),
    ("opex.water_usd_per_bbl", "", "US$/bbl", "Cost of handling water", _CP),
    ("opex.abandonment_usd", "", "US$", "Abandonment cost, due at the economic limit or the horizon", _CP),
    ("opex.holding_usd_per_month", "", "US$/month", "Cost of holding a suspended well until the job", _CP),
    ("opex.lease_holding_months", "", "months", "Longest suspension before the lease ends", _CP),
    ("job.close_chance", "p", "1",
     "Chance that one try closes an old open sleeve, averaged over wells", _DEF),
    ("job.open_chance", "p", "1", "Chance that one try opens a closed sleeve, averaged over wells", _DEF),
    ("job.reclose_chance", "p", "1", "Chance that one try recloses a treated sleeve", _DEF),
    ("job.reopen_chance", "p", "1", "Chance that one try reopens a sleeve at the end", _DEF),
    ("job.age_slope_per_year", "", "logit/year", "Change of the shift chance with the age of the sleeve", _DEF),
    ("job.cycle_slope", "", "logit/shift", "Change of the shift chance with each earlier shift", _DEF),
    ("job.well_effect_sd", "", "logit", "Spread of the effect all sleeves of a well share", _DEF),
    ("job.sleeve_effect_sd", "", "logit", "Spread of the effect all tries on a sleeve share", _DEF),
    ("job.max_tries", "", "1", "Tries on a sleeve before the fallback", _DEF),
    ("job.hours_per_try", "", "h", "Coiled-tubing time of one try to shift", _CP),
    ("job.hours_per_test", "", "h", "Time to test a sleeve after it was closed", _CP),
    ("job.hours_per_stage", "", "h", "Mean time to pump one stage", _CP),
    ("job.stage_hours_log_sd", "", "1", "Spread of the log of the pumping time", _CP),
    ("job.ct_speed_ft_per_min", "", "ft/min", "Mean running speed of the coiled tubing", _CP),
    ("job.cleanout_hours", "", "h", "Cleanout of the lateral before the sleeves are shifted", _CP),
    ("job.hours_per_trip", "", "h", "Trip of the bottom-hole assembly, out and back", _CP),
    ("job.stages_per_bha", "", "1", "Stages one bottom-hole assembly lasts", _CP),
    ("job.trip_chance_per_stage", "", "1", "Chance of an unplanned trip at a stage", _CP),
    ("job.screenout_chance", "", "1", "Chance that a stage screens out", _CP),
    ("job.screenout_hours", "", "h", "Cleanout after a screenout", _CP),
    ("job.screenout_placed_fraction", "", "1", "Share of the stage placed before it screened out", _CP),
    ("job.npt_fraction", "", "1", "Non-productive time as a share of the coiled-tubing hours", _CP),
    ("job.waiting_days", "", "days", "Waiting on weather and crews", _CP),
    ("job.days_before_ct", "", "days",
     "Workover before the coiled tubing: kill, pull tubing, test, rig up", _CP),
    ("job.days_after_ct", "", "days", "Flowback and running the lift again", _CP),
    ("job.work_hours_per_day", "", "h/day", "Working hours of a day", _CP),
    ("job.stuck_ct_chance", "", "1", "Chance that the coiled tubing sticks or parts in the job", _CP),
    ("job.stuck_ct_days", "", "days", "Days to free or fish stuck coiled tubing", _CP),
    ("job.well_lost_chance_given_stuck", "", "1",
     "Chance that the well is lost when the tubing is stuck", _CP),
    ("job.leak_chance_cement", "", "1", "Chance that cement between two stages leaks", _CP),
    ("job.leak_chance_packer", "", "1", "Chance that an open-hole packer between two stages leaks", _CP),
    ("job.leak_fluid_fraction", "", "1", "Share of a stage's fluid that crosses a leaking interface", _CP),
    ("job.open_sleeve_take", "", "1",
     "Flow weight of an open sleeve uphole against the treated sleeve's 1", _CP),
    ("job.stray_fluid_value", "", "1",
     "Worth of fluid that ended in another stage, against 1 where planned", _CP),
    ("job.patch_hours", "", "h", "Time to set a patch", _CP),
    ("job.patch_success", "", "1", "Chance that a patch seals", _CP),
    ("job.perforate_hours", "", "h", "Time to perforate or jet one sleeve", _CP),
    ("job.perforate_success", "", "1", "Chance that perforating opens the stage", _CP),
    ("job.cost.mobilisation_usd", "", "US$", "Lump sum to bring the spreads", _CP),
    ("job.cost.workover_usd_per_day", "", "US$/day", "Workover rig and crew", _CP),
    ("job.cost.ct_spread_usd_per_day", "", "US$/day", "Coiled-tubing spread", _CP),
    ("job.cost.frac_spread_usd_per_day", "", "US$/day", "Pumping spread, standby included", _CP),
    ("job.cost.stage_materials_usd", "", "US$/stage", "Proppant and chemicals of one stage", _CP),
    ("job.cost.water_bbl_per_stage", "", "bbl/stage", "Water pumped in one stage", _CP),
    ("job.cost.water_usd_per_bbl", "", "US$/bbl", "Price of the water pumped", _CP),
    ("job.cost.trip_usd", "", "US$/trip", "Cost of one trip beside its time", _CP),
    ("job.cost.patch_usd", "", "US$/patch", "Cost of one patch beside its time", _CP),
    ("job.cost.perforate_usd", "", "US$/sleeve", "Cost of perforating one sleeve beside its time", _CP),
    ("job.cost.screenout_usd", "", "US$", "Cost of one screenout beside its time", _CP),
    ("job.cost.stuck_ct_usd", "", "US$", "Cost of fishing stuck tubing beside its time", _CP),
    ("job.cost.well_lost_usd", "", "US$", "Cost of a lost well beside its abandonment", _CP),
    ("job.cost.cancellation_usd", "", "US$", "Paid when the job is called off", _CP),
    ("job.cost.flowback_usd_per_day", "", "US$/day", "Flowback crew and equipment", _CP),
    ("job.cost.load_recovery_fraction", "", "1", "Share of the pumped water that comes back", _CP),
    ("job.cost.load_disposal_usd_per_bbl", "", "US$/bbl", "Disposal of recovered load water", _CP),
    ("job.cost.service_index_beta", "", "1", "Response of service costs to the lagged log oil price", _CP),
    ("job.cost.service_index_lag_months", "", "months", "Lag of service costs behind the oil price", _CP),
    ("job.cost.service_index_sd", "", "1", "Spread of the log service cost that the oil price leaves", _CP),
    ("response.uplift", "u", "1",
     "Refrac rate over the well's observed peak rate, net of the base forecast", _DEF),
    ("response.play_factor", "", "1", "Factor on the uplift that all wells of the case share", _DEF),
    ("response.depletion_exponent", "g", "1", "Exponent of (1 - depletion) on the refrac rate", _DEF),
    ("response.kept_fraction", "", "1", "Share of the old production that goes on after the job", _DEF),
    ("response.acceleration_fraction", "alpha", "1",
     "Share of the refrac stream taken from the old stream", _DEF),
    ("response.decline_per_year", "D2", "1/year", "Nominal initial decline of the refrac stream", _ARPS),
    ("response.b", "b2", "1", "Hyperbolic exponent of the refrac stream", _ARPS),
    ("response.terminal_decline_per_year", "Dmin2", "1/year",
     "Nominal terminal decline of the refrac stream", _ARPS),
    ("response.headroom", "", "1", "Ultimate the rock could give over the EUR without a refrac", _DEF),
    ("response.ultimate", "Nult", "main phase", "Ultimate the rock could give, where it is stated", _DEF),
    ("response.gas_start_factor", "", "1",
     "Gas ratio of the refrac stream at its start over the well's own", _DEF),
    ("response.gas_final_factor", "", "1", "Gas ratio of the refrac stream late over the well's own", _DEF),
    ("response.water_start_factor", "", "1",
     "Water ratio of the refrac stream at its start over the well's", _DEF),
    ("response.water_final_factor", "", "1",
     "Water ratio of the refrac stream late over the well's own", _DEF),
    ("response.ratio_change_fraction", "", "1",
     "Share of the stream's recovery over which its ratios move", _DEF),
    ("response.reference_intensity_lb_per_ft", "", "lb/ft",
     "First-job proppant at which factors are 1", _DEF),
    ("response.intensity_elasticity", "", "1", "How uplift and headroom fall with first-job intensity", _DEF),
    ("response.share_log_sd", "", "1", "Spread of the log of the stages' old production shares", _DEF),
    ("response.potential_log_sd", "", "1", "Spread of the log of the stages' refrac potential", _DEF),
    ("response.share_potential_correlation", "", "1", "Correlation of old share and refrac potential", _DEF),
    ("stress.half_height_ft", "c", "ft", "Half height of the propped fractures", _STRESS),
    ("stress.poisson_ratio", "nu", "1", "Poisson's ratio", _STRESS),
    ("stress.residual_pressure_psi", "p", "psi", "Residual pressure of a propped fracture", _STRESS),
    ("stress.horizontal_contrast_psi", "", "psi",
     "Difference of the horizontal stresses before the job", _DEF),
    ("stress.effect_strength", "", "1", "Most a reduced contrast adds to a stage's effect (0: none)",
     "Soliman, East & Adams 2008; Roussel & Sharma 2011"),
    ("stress.contrast_half_psi", "", "psi", "Contrast at which half of the effect is reached", "assumption"),
    ("stress.contrast_scale_psi", "", "psi", "Scale of the logistic map of the contrast", "assumption"),
    ("stress.pressure_limit_psi", "", "psi",
     "Stress increase at which the treating pressure limits", "assumption"),
    ("stress.limit_scale_psi", "", "psi", "Scale of the logistic map of the pressure limit", "assumption"),
    ("stress.limit_strength", "", "1",
     "Most a reached pressure limit takes from a stage's effect", "assumption"),
)  # fmt: skip

MEASURES: Mapping[str, Quantity] = MappingProxyType(
    {m.name: Quantity(m.name, m.symbol, m.unit, m.meaning, m.source) for m in SUMMARY}
)
"""The measures of ``summary.csv``, in their order, from their records."""

INPUTS: Mapping[str, Quantity] = MappingProxyType({row[0]: Quantity(*row) for row in _INPUTS})
"""Uncertain and fixed inputs by the key path of the case."""


def quantity(name: str) -> Quantity:
    """Return the quantity of that name; KeyError says which name was not found."""
    found = MEASURES.get(name) or INPUTS.get(name)
    if found is None:
        raise KeyError(f"no quantity is registered under {name!r}")
    return found


def unit_of(name: str) -> str:
    """Unit of a registered quantity, "" if the name is not registered."""
    found = MEASURES.get(name) or INPUTS.get(name)
    return "" if found is None else found.unit
