"""Force at the tool in the case: [job.reach]; where the table is absent `completion.ct_reach_ft` alone serves."""

from __future__ import annotations

from typing import Literal

from refracmc.case.key_rules import Section, Uncertain, choice, number, uncertain

PRACTICE = "common practice, no source"


class ReachForces(Section):
    """What coiled tubing can push and pull at the tool, against what a sleeve needs to shift.

    A screen, not a design: forces, friction and reach defer to the operator's procedures and to the contractor's
    own modelling.
    """

    true_vertical_depth_ft: float = number(..., "ft", "true vertical depth of the lateral", 100.0, 40_000.0)
    lateral_start_md_ft: float | None = number(
        None,
        "ft",
        "measured depth at which the lateral starts; absent: the shallowest sleeve",
        100.0,
        60_000.0,
    )
    ct_wall_in: float = number(0.175, "in", "wall of the coiled tubing", 0.01, 1.0)
    ct_yield_psi: float = number(80_000.0, "psi", "yield strength of the coiled tubing", 1_000.0, 200_000.0)
    ct_weight_lb_per_ft: float | None = number(
        None, "lb/ft", "weight of the tubing in air; absent: that of plain steel", 0.1, 30.0
    )
    yield_derate_fraction: float = number(
        0.8,
        "fraction",
        "share of the yield load that may be pulled at the surface",
        0.05,
        1.0,
        source=PRACTICE,
    )
    friction_coefficient: Uncertain = uncertain(
        {"dist": "pert", "low": 0.2, "mode": 0.27, "high": 0.35},
        "",
        "sliding friction of the tubing in the casing",
        0.0,
        1.0,
        source="assumption; 0.2 to 0.35 is common practice, no source",
    )
    friction_reducer_factor: Uncertain = uncertain(
        1.0, "factor", "multiplies the friction, below 1 with a lubricant or vibration", 0.0, 2.0
    )
    fluid_density_lb_per_gal: Uncertain = uncertain(8.6, "lb/gal", "fluid in the well", 0.0, 20.0)
    injector_push_lbf: float = number(0.0, "lbf", "push of the injector at the surface", 0.0, 200_000.0)
    extended_reach_pull_lbf: Uncertain = uncertain(
        0.0, "lbf", "pull of an extended-reach tool", 0.0, 100_000.0
    )
    shift_force_lbf: Uncertain = uncertain(
        {"dist": "pert", "low": 1_500.0, "mode": 2_500.0, "high": 5_000.0},
        "lbf",
        "force at the tool that shifts a sleeve",
        0.0,
        200_000.0,
    )
    closed_by: Literal["push", "pull"] = choice("push", "force that closes a sleeve")
    opened_by: Literal["push", "pull"] = choice("pull", "force that opens a sleeve")
    planned_friction_exceedance_percent: float = number(
        10.0,
        "%",
        "friction exceeded by this share of trials: what the plan reaches is found with it",
        1.0,
        99.0,
    )
