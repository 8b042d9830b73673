"""Invented tables of the job of a well."""

from typing import Any

import numpy as np

ORDERS = ("toe_to_heel", "heel_to_toe", "alternating", "two_pass")
DATES = tuple(f"{2027 + k // 4}-{1 + 3 * (k % 4):02d}" for k in range(12))


def job_rows(well: str, seed: int) -> dict[str, list[dict[str, Any]]]:
    """Tables of the job of an invented well of nine sleeves."""
    rng, name = np.random.default_rng(seed), f"{ORDERS[0]}@{DATES[0]}"
    rows: dict[str, list[dict[str, Any]]] = {}
    for order in ORDERS:
        head = {"well": well, "strategy": f"{order}@{DATES[0]}", "order": order}
        for measure, unit, parts in (
            ("days", "days", {"before": 5.0, "treating": 3.0, "shifting": 1.5, "waiting": 1.0, "odd": 0.2}),
            (
                "cost",
                "US$ gross",
                {"mobilisation": 2.6e5, "ct_spread": 4e5, "materials": 4e5, "isolation": 1e4},
            ),
        ):
            for part, mean in parts.items():
                made = {"measure": measure, "part": part, "unit": unit, "mean": mean, "se": mean / 50}
                rows.setdefault("job_parts", []).append(head | made)
            middle = sum(parts.values())
            for k, percent in enumerate((95, 90, 80, 70, 60, 50, 40, 30, 20, 10, 5)):
                made = {"measure": measure, "exceedance_percent": float(percent), "unit": unit}
                rows.setdefault("job_spread", []).append(head | made | {"value": middle * (0.8 + 0.04 * k)})
        for state in ("after 5 of 9 stages", "after 9 of 9 stages", "as its stage is pumped"):
            for s in range(1, 10):
                made = {"state": state, "sleeve": s, "depth_ft": 15000.0 - 150.0 * s}
                fall = {"contrast_fall_psi": float(rng.uniform(0, 200)), "se_psi": 1.5}
                rows.setdefault("stress_state", []).append({"well": well, "order": order} | made | fall)
    for s in range(1, 10):
        at = {"well": well, "strategy": name, "sleeve": s, "depth_ft": 15000.0 - 150.0 * s}
        for k, state in enumerate(
            ("open", "closed", "being treated", "stuck open" if s == 7 else "open, treated")
        ):
            hours = {"state": state, "from_hour": 30.0 * k + s, "to_hour": 30.0 * (k + 1) + s}
            rows.setdefault("sleeve_map", []).append(at | hours)
        for kind in ("close", "open"):
            loss = {"chance": 0.02, "stages_lost_share": 0.01 * s, "old_lost_share": 0.0, "days_more": 0.1}
            rows.setdefault("failures", []).append(at | {"kind": kind} | loss)
    rows["uptime"] = [{"well": well, "own_year": 0.96, "own_quarter": 0.97, "months_shut": 0.0, "running": 0.82,
        "ahead": 0.78, "idle_chance": 0.05, "idle_chance_learned": 0.04, "idle_chance_own": 0.01,
        "hurdle": True}]  # fmt: skip
    for limit in ("casing burst", "wellhead rating", "coiled tubing collapse", "all"):
        made = {
            f"{which}_{p}_psi": 4000.0 + 500 * k
            for which in ("asked", "borne")
            for k, p in enumerate(("p90", "p50", "p10"))
        }
        rows.setdefault("pressure", []).append(
            {"well": well, "limit_name": limit, "inside_share": 0.9, "inside_share_se": 0.01} | made
        )
    for k in range(6):
        force = {"push": 900.0 * k, "pull": 12e3 + 900.0 * k, "needed": 2400.0}
        made = {
            f"{n}_{p}_lbf": f + 300.0 * i
            for n, f in force.items()
            for i, p in enumerate(("p90", "p50", "p10"))
        }
        made |= {f"planned_{n}_lbf": force[n] for n in ("push", "pull")} | {"planned": k > 2}
        rows.setdefault("reach", []).append({"well": well, "sleeve": k + 1, "depth_ft": 19e3 - 200.0 * k,
            "reached_share": 0.2 * k, "reached_share_se": 0.01, **made})  # fmt: skip
    return rows
