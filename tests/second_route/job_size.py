"""Second route, part 3a: what the size of a job changes of its inputs, its rates and its response."""

import math


def effect(proppant, fluid, proppant_elasticity, fluid_elasticity):
    """Response over that of the reference: rising to a ceiling, by the elasticities at the reference."""
    total = proppant_elasticity + fluid_elasticity
    weight = proppant_elasticity / total if total > 0.0 else 0.5
    x = proppant**weight * fluid ** (1.0 - weight)
    if x == 0.0:
        return 0.0
    if total == 0.0:
        return 1.0
    low, high = 1e-9, 700.0
    while high - low > 1e-15 * high:  # elasticity at the reference falls with k from one to nothing
        k = (low + high) / 2.0
        if k in (low, high):
            break
        if k / math.expm1(k) > total:
            low = k
        else:
            high = k
    return math.expm1(-k * x) / math.expm1(-k)


def ratios(size, reference, water):
    """Proppant, fluid and rate over the reference; amounts may be given by the foot."""
    if size.factor is not None:
        return size.factor, size.factor, size.pumping_rate_factor
    per_ft = reference.proppant_lb_per_ft
    lb = reference.proppant_lb_per_stage if per_ft is None else per_ft * reference.ft_per_stage
    proppant, fluid = lb, water
    if size.proppant_lb_per_stage is not None:
        proppant = size.proppant_lb_per_stage
    if size.proppant_lb_per_ft is not None:
        proppant = size.proppant_lb_per_ft * reference.ft_per_stage
    if size.fluid_bbl_per_stage is not None:
        fluid = size.fluid_bbl_per_stage
    if size.fluid_bbl_per_ft is not None:
        fluid = size.fluid_bbl_per_ft * reference.ft_per_stage
    return proppant / lb, fluid / water, size.pumping_rate_factor


def resize(stated, drawn, water, inputs, rates):
    """Change inputs and rates of the job to those of its size; the effect on the response."""
    if stated is None:
        return 1.0
    proppant, fluid, rate = ratios(stated[0], stated[1], water)
    inputs["hours_per_stage"] *= fluid / rate
    part = drawn["flowback_share_of_days_after"]
    inputs["days_after_ct"] = (1.0 - part) * inputs["days_after_ct"] + part * inputs["days_after_ct"] * fluid
    part = drawn["proppant_share_of_materials"]
    bill = rates["stage_materials_usd"]
    rates["stage_materials_usd"] = part * bill * proppant + (1.0 - part) * bill * fluid
    rates["water_bbl_per_stage"] *= fluid
    return effect(proppant, fluid, drawn["proppant_elasticity"], drawn["fluid_elasticity"])
