"""What a refrac adds, and the stress between stages: sections [response] and [stress].

Published anchors: rate and EUR gains of SPE-173340-MS (Bakken +69 %, Eagle Ford +53 %, no effect of age
discernible), and 50 to 60 % of first rate for a Barnett restimulation without new perforations (trade press
2015) - the floor for a job through the same sleeves. What stands between is an assumption.
"""

from __future__ import annotations

from typing import Literal

from pydantic import StrictBool

from refracmc.case.key_rules import Problem, Section, Uncertain, choice, fraction, number, uncertain

_LOWEST_CLASS = "the lowest class of US wells by rate, up to 1 barrel a day (EIA)"


class Response(Section):
    """Refrac stream, what is kept of the old one, and the ultimate both share."""

    uplift: Uncertain = uncertain(
        {"dist": "lognormal", "p90": 0.25, "p10": 1.0},
        "fraction of peak rate",
        "initial rate of the refrac stream over the peak rate, base forecast subtracted",
        0.0,
        source="assumption around 50 to 60 % of first rate (Barnett, no new perforations, trade press 2015)",
        records=("dated_jobs_responders", "dated_jobs_vertical"),
    )
    play_factor: Uncertain = uncertain(
        1.0, "factor", "factor on the uplift that all wells share", 0.0, above=True
    )
    uplift_record_factor: Uncertain = uncertain(
        1.0,
        "factor",
        "what the mean of the record behind the uplift may be over what it is (few jobs carry it); all wells share it",
        0.0,
        source="assumption: the mean of the record is taken as known",
        records=("record_mean_factor",),
    )
    no_response_chance: Uncertain = fraction(
        0.0,
        "chance that the well does not respond to the job: no refrac stream, all of the cost and the loss; struck "
        "once a trial for the whole well, as the record behind it knows whole jobs and no stages",
        source="assumption: every job responds",
    )
    depletion_exponent: Uncertain = uncertain(
        {"dist": "uniform", "low": 0.0, "high": 1.0},
        "",
        "exponent g of (1 - depletion) on the uplift; 0: no effect of age",
        0.0,
        source="assumption including 0: SPE-173340-MS finds no effect of age",
    )
    kept_fraction: Uncertain = fraction(0.95, "old stream that goes on after the job")
    acceleration_fraction: Uncertain = fraction(
        0.2, "share of the refrac stream taken from the old one's remainder", below=True
    )
    decline_per_year: Uncertain = uncertain(
        {"dist": "lognormal", "p90": 0.8, "p10": 2.4},
        "1/year",
        "initial nominal decline of the refrac stream",
        0.0,
        above=True,
    )
    b: Uncertain = uncertain(0.9, "", "hyperbolic exponent of the refrac stream", 0.0, 3.0)
    terminal_decline_per_year: Uncertain = uncertain(
        0.08, "1/year", "terminal nominal decline of the refrac stream", 0.0, 5.0, above=True
    )
    headroom: Uncertain = uncertain(
        1.8, "factor", "ultimate over the recovery without a refrac, to the technical limit", 1.0
    )
    technical_limit_bbl_per_d: float = number(
        1.0,
        "bbl/d",
        "rate per producing day to which the ultimate of an oil well counts, for 50 producing years at most",
        0.0,
        source=f"assumption: {_LOWEST_CLASS}",
        above=True,
    )
    technical_limit_mcf_per_d: float = number(
        6.0,
        "Mcf/d",
        "rate per producing day to which the ultimate of a gas well counts, for 50 producing years at most",
        0.0,
        source=f"assumption: {_LOWEST_CLASS}, at 6 Mcf a barrel",
        above=True,
    )
    ultimate: Uncertain | None = uncertain(
        None, "bbl or Mcf", "volumetric ultimate of the main phase, in place of headroom", 0.0, above=True
    )
    gas_start_factor: Uncertain = uncertain(1.0, "factor", "gas ratio of the new stream over now, start", 0.0)
    gas_final_factor: Uncertain = uncertain(1.0, "factor", "gas ratio of the new stream over now, end", 0.0)
    water_start_factor: Uncertain = uncertain(
        2.0, "factor", "water ratio of the new stream over now, start", 0.0
    )
    water_final_factor: Uncertain = uncertain(
        1.0, "factor", "water ratio of the new stream over now, end", 0.0
    )
    oil_start_factor: Uncertain = uncertain(
        1.0, "factor", "oil ratio of the new stream over now, start (gas is the main phase)", 0.0
    )
    oil_final_factor: Uncertain = uncertain(
        1.0, "factor", "oil ratio of the new stream over now, end (gas is the main phase)", 0.0
    )
    uptime: Uncertain | None = fraction(
        None, "share of calendar time the well runs after the job; absent: as it ran before", above=True
    )
    liquid_limit_bbl_per_d: Uncertain | None = uncertain(
        None,
        "bbl/d",
        "most oil and water of the whole well after the job per producing day (lift, tubing, water handling); what is "
        "above it waits for room",
        0.0,
        above=True,
    )
    gas_limit_mcf_per_d: Uncertain | None = uncertain(
        None,
        "Mcf/d",
        "most gas of the whole well after the job per producing day; what is above it waits for room",
        0.0,
        above=True,
    )
    revives_idle: StrictBool = choice(
        True, "whether a refrac brings back a well that stands idle for good; false: neither stream comes"
    )
    ratio_change_fraction: float = number(
        0.3, "fraction", "share of the new stream's volume over which ratios move", 0.0, 1.0, above=True
    )
    reference_intensity_lb_per_ft: float | None = number(
        None, "lb/ft", "proppant per foot the uplift and headroom refer to", 0.0, 20_000.0, above=True
    )
    intensity_elasticity: float = number(
        0.5, "", "elasticity of uplift to (reference / first) intensity", 0.0, 5.0
    )
    share_log_sd: float = number(0.5, "", "log sd of old production between sleeves", 0.0, 3.0)
    potential_log_sd: float = number(0.5, "", "log sd of refrac potential between sleeves", 0.0, 3.0)
    share_potential_correlation: float = number(
        0.0, "", "correlation of log share and log potential of a sleeve", -1.0, 1.0
    )

    @property
    def zero_uplift_chance(self) -> float:
        """Share of the draws of an uncertain uplift that are 0: jobs without a response, kept in the record itself."""
        return 0.0 if self.uplift.is_fixed else float(self.uplift.cdf(0.0))

    def problems(self) -> list[Problem]:
        zeros, chance = self.zero_uplift_chance, self.no_response_chance.support()[1]
        if not (zeros > 0.0 and chance > 0.0):
            return []
        found = f"a chance up to {chance:.3g} beside an uplift that is 0 in {zeros:.0%} of its draws"
        allowed = "jobs without a response counted once: by the chance, or by zeros of the uplift"
        remedy = (
            'take an uplift of jobs that respond, as { dist = "empirical", named = "dated_jobs_responders" }, or leave '
            "no_response_chance out"
        )
        return [(("no_response_chance",), found, allowed, remedy)]


class Stress(Section):
    """Stress change between stages and its nonlinear maps; strengths include 0."""

    enabled: StrictBool = choice(True, "whether stress between stages acts on the response")
    crack: Literal["plane_strain", "penny"] = choice(
        "plane_strain",
        "plane_strain (long fractures of one height) or penny (circular, half_height_ft the radius; Sneddon 1946)",
    )
    half_height_ft: float = number(75.0, "ft", "half height of a placed fracture", 0.0, 2_000.0, above=True)
    poisson_ratio: float = number(0.25, "", "Poisson's ratio of the rock", 0.0, 0.5, below=True)
    residual_pressure_psi: Uncertain = uncertain(
        300.0, "psi", "residual pressure of a propped fracture above closure", 0.0
    )
    horizontal_contrast_psi: Uncertain = uncertain(
        600.0, "psi", "contrast of the horizontal stresses before the job", 0.0
    )
    effect_strength: Uncertain = uncertain(
        {"dist": "uniform", "low": 0.0, "high": 0.1},
        "fraction",
        "largest gain of a stage from a lowered contrast; 0: none",
        -1.0,
        2.0,
    )
    contrast_half_psi: float = number(200.0, "psi", "remaining contrast at which half the gain acts")
    contrast_scale_psi: float = number(100.0, "psi", "width of that logistic", 0.0, above=True)
    pressure_limit_psi: Uncertain = uncertain(
        900.0, "psi", "rise of closure stress at which placement suffers by half", 0.0
    )
    limit_scale_psi: float = number(150.0, "psi", "width of that logistic", 0.0, above=True)
    limit_strength: Uncertain = uncertain(
        {"dist": "uniform", "low": 0.0, "high": 0.2},
        "fraction",
        "largest loss of a stage from a raised closure stress; 0: none",
        0.0,
        1.0,
    )
