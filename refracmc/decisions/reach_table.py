"""Force at the tool of the coiled tubing by sleeve, and the share of trials in which it shifts the sleeve: a screen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case.tubing_reach import UNCERTAIN, planned_forces, tool_forces
from refracmc.engine.plan import WellPlan

Array = NDArray[np.float64]


def reach_rows(plan: WellPlan, draws: Mapping[str, Array]) -> list[dict[str, Any]]:
    """One row a sleeve from the drawn trials (n,); empty where the case does not state [job.reach]."""
    asked, completion, tally = plan.well.settings.job.reach, plan.well.settings.completion, plan.well.tally
    if asked is None:
        return []
    found = tool_forces(asked, completion, tally, {name: draws[f"job.reach.{name}"] for name in UNCERTAIN})
    planned = planned_forces(asked, completion, tally)
    share = found.reached.mean(axis=1)
    error = np.sqrt(share * (1.0 - share) / found.needed.size)
    spread = {
        "push": np.quantile(found.push, [0.1, 0.5, 0.9], axis=1),
        "pull": np.quantile(found.pull, [0.1, 0.5, 0.9], axis=1),
        "needed": np.repeat(np.quantile(found.needed, [0.1, 0.5, 0.9])[:, None], tally.count, axis=1),
    }
    return [
        {
            "well": plan.id,
            "sleeve": k + 1,
            "depth_ft": float(tally.depth_ft[k]),
            **{
                f"{name}_{label}_lbf": float(values[i, k])
                for name, values in spread.items()
                for i, label in enumerate(("p90", "p50", "p10"))
            },
            "reached_share": float(share[k]),
            "reached_share_se": float(error[k]),
            "planned_push_lbf": float(planned.push[k, 0]),
            "planned_pull_lbf": float(planned.pull[k, 0]),
            "planned": bool(planned.reached[k, 0]),
        }
        for k in range(tally.count)
    ]
