"""Job size in the case: the stage that its keys describe ([job.size]), and sizes compared ([strategies.sizes.NAME]).

The keys of a stage - hours_per_stage, stage_materials_usd, water_bbl_per_stage - describe the reference. A size is so
many times its proppant and its fluid.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from refracmc.case.key_rules import Problem, Section, Uncertain, fraction, number

if TYPE_CHECKING:
    from refracmc.case.job_section import Job
    from refracmc.case.strategies import Strategies

MOST_ELASTICITY = 0.95
SMALL_BILL = 0.5


class Ratios(NamedTuple):
    """Proppant, fluid and pumping rate of a size, each over that of the reference [-]."""

    proppant: float
    fluid: float
    rate: float = 1.0


def _twice(section: Section, prefix: str = "") -> list[Problem]:
    """Faults of an amount stated by the stage and by the foot."""
    found: list[Problem] = []
    for amount in ("proppant_lb", "fluid_bbl"):
        keys = [f"{amount}_per_stage", f"{amount}_per_ft"]
        if all(getattr(section, key, None) is not None for key in keys):
            text = f"{keys[1]} beside {keys[0]}"
            found.append(((keys[1],), text, "one of the two", f"remove one{prefix}"))
    return found


class JobSize(Section):
    """Proppant and fluid of the stage that the keys of the job describe, and what another size changes."""

    proppant_lb_per_stage: float | None = number(
        None, "lb/stage", "proppant of a stage at the reference size", 0.0, 5e6, above=True
    )
    proppant_lb_per_ft: float | None = number(
        None, "lb/ft", "the same per foot, with ft_per_stage", 0.0, 20_000.0, above=True
    )
    ft_per_stage: float | None = number(
        None,
        "ft",
        "lateral length that a stage treats, where amounts are stated per foot",
        0.0,
        5_000.0,
        above=True,
    )
    proppant_elasticity: Uncertain = fraction(
        0.35,
        "% more response for 1 % more proppant, at the reference size; it falls as the size grows",
        below=True,
    )
    fluid_elasticity: Uncertain = fraction(
        0.1,
        "% more response for 1 % more fluid, at the reference size; it falls as the size grows",
        below=True,
    )
    proppant_share_of_materials: Uncertain = fraction(
        0.6, "share of stage_materials_usd that is proppant; the rest, chemicals, goes with the fluid"
    )
    flowback_share_of_days_after: Uncertain = fraction(
        0.3, "share of days_after_ct that flowback takes and that goes with the fluid"
    )
    least_usd_per_lb: float = number(
        0.04,
        "US$ gross/lb",
        "proppant delivered is not cheaper; `check` tells materials that cannot buy it",
        0.0,
        10.0,
    )

    @property
    def proppant_lb(self) -> float:
        """Proppant of a stage at the reference size [lb]; 0 where it is not stated."""
        if self.proppant_lb_per_stage is not None:
            return self.proppant_lb_per_stage
        return (self.proppant_lb_per_ft or 0.0) * (self.ft_per_stage or 0.0)

    def problems(self) -> list[Problem]:
        found = _twice(self)
        if self.proppant_lb_per_stage is None and self.proppant_lb_per_ft is None:
            remedy = "state what a stage of stage_materials_usd and water_bbl_per_stage holds"
            found.append((("proppant_lb_per_stage",), "no proppant", "a number of lb/stage", remedy))
        if self.proppant_lb_per_ft is not None and self.ft_per_stage is None:
            text = "proppant_lb_per_ft without it"
            found.append((("ft_per_stage",), text, "a length in ft", "state the length that a stage treats"))
        most = float(self.proppant_elasticity.support()[1] + self.fluid_elasticity.support()[1])
        if most > MOST_ELASTICITY:
            text = f"with fluid_elasticity up to {most:.3g} together"
            allowed = f"up to {MOST_ELASTICITY:g} together: returns diminish"
            found.append((("proppant_elasticity",), text, allowed, "lower one, or give it a max"))
        return found


class Size(Section):
    """One size of the job: a factor on the reference, or amounts; an amount that is absent is the reference's."""

    factor: float | None = number(None, "", "proppant and fluid over those of the reference", 0.0, 20.0)
    proppant_lb_per_stage: float | None = number(None, "lb/stage", "proppant of a stage", 0.0, 5e6)
    proppant_lb_per_ft: float | None = number(None, "lb/ft", "proppant per foot treated", 0.0, 20_000.0)
    fluid_bbl_per_stage: float | None = number(
        None,
        "bbl/stage",
        "fluid of a stage; the reference is job.cost.water_bbl_per_stage, its mean",
        0.0,
        1e6,
    )
    fluid_bbl_per_ft: float | None = number(None, "bbl/ft", "fluid per foot treated", 0.0, 10_000.0)
    pumping_rate_factor: float = number(
        1.0,
        "",
        "pumping rate over that of the reference: hours of a stage go with fluid over rate",
        0.05,
        20.0,
    )

    def problems(self) -> list[Problem]:
        found = _twice(self)
        amounts = [
            key
            for key in type(self).model_fields
            if key.startswith(("proppant", "fluid")) and getattr(self, key) is not None
        ]
        if self.factor is not None and amounts:
            text = f"factor beside {', '.join(amounts)}"
            found.append((("factor",), text, "a factor, or amounts", "remove the one or the others"))
        if self.factor is None and not amounts:
            remedy = "write factor = 1.5, or an amount"
            found.append((("factor",), "no size", "a factor, or amounts", remedy))
        return found


def ratios_of(size: Size, job: Job) -> Ratios:
    """A size over the reference of the job; ValueError names what is missing for it."""
    if job.size is None:
        raise ValueError("no table [job.size] that says what the stages of the job hold")
    if size.factor is not None:
        return Ratios(size.factor, size.factor, size.pumping_rate_factor)
    ft, water = job.size.ft_per_stage, float(job.cost.water_bbl_per_stage.mean())
    if ft is None and (size.proppant_lb_per_ft is not None or size.fluid_bbl_per_ft is not None):
        raise ValueError("amounts per foot without job.size.ft_per_stage")

    def over(per_stage: float | None, per_ft: float | None, reference: float, what: str) -> float:
        if per_stage is None and per_ft is None:
            return 1.0
        if not reference > 0.0:
            raise ValueError(f"an amount of {what} where the reference has none")
        return (per_stage if per_stage is not None else (per_ft or 0.0) * (ft or 0.0)) / reference

    return Ratios(
        over(size.proppant_lb_per_stage, size.proppant_lb_per_ft, job.size.proppant_lb, "proppant"),
        over(size.fluid_bbl_per_stage, size.fluid_bbl_per_ft, water, "fluid"),
        size.pumping_rate_factor,
    )


def size_faults(strategies: Strategies, job: Job) -> list[Problem]:
    """Sizes that cannot be set against the reference, or cannot be pumped; paths within [strategies]."""
    found: list[Problem] = []
    for name, size in strategies.sizes.items():
        path = ("sizes", name)
        try:
            ratios = ratios_of(size, job)
        except ValueError as problem:
            remedy = "complete [job.size] and job.cost.water_bbl_per_stage, or give a factor"
            found.append((path, str(problem), "a size that can be set against the reference", remedy))
            continue
        if ratios.proppant > 0.0 and ratios.fluid == 0.0:
            found.append((path, "proppant without fluid", "fluid to carry it", "give it fluid"))
    return found


def size_told(job: Job, strategies: Strategies) -> str:
    """What a case assumes of job size; empty where it compares sizes."""
    if job.size is not None and not strategies.sizes:
        only = "All jobs have the size of [job.size]: strategies.sizes states no others."
        return f"{size_warning(job)} {only}".lstrip()
    return size_warning(job)


def size_warning(job: Job) -> str:
    """That job size does not reach the response, or that materials cannot buy the proppant stated; else empty."""
    size, materials = job.size, float(job.cost.stage_materials_usd.mean())
    if size is None:
        return (
            "Job size does not reach the response: what stage_materials_usd and water_bbl_per_stage buy is not stated "
            "([job.size]), so a smaller bill looks better for nothing."
        )
    least = size.proppant_lb * size.least_usd_per_lb
    share = float(size.proppant_share_of_materials.mean())
    if materials * share < SMALL_BILL * least:
        return (
            f"The proppant of a stage, {size.proppant_lb:,.0f} lb, is paid with US$ {materials * share:,.0f} "
            f"(job.cost.stage_materials_usd); at US$ {size.least_usd_per_lb:g} a lb it costs {least:,.0f}."
        )
    return ""
