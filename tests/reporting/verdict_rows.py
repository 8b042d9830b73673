"""Invented rows of the verdict of a well, and of what would turn it."""

from typing import Any

import numpy as np

ASKED = {
    "least_value_per_dollar": 0.1,
    "marginal_value_per_dollar": 0.1,
    "greatest_chance_of_loss": 0.5,
    "marginal_chance_of_loss": 0.15,
    "tail_weight": 0.0,
}


def verdict_row(
    well: str, strategy: str, second: str, stack: np.ndarray, best: int, spent: float
) -> dict[str, Any]:
    """stack (S, n): incremental NPV of the refracs; best: row of the best; spent: mean capital."""
    mean = float(stack[best].mean())
    value = mean / spent
    word = "refracture" if value >= 0.1 else "marginal" if value >= 0 else "leave"
    judged: dict[str, Any] = {"well": well, "strategy": strategy}
    judged |= dict.fromkeys(("verdict", "verdict_low", "verdict_high", "verdict_of_estimates"), word)
    judged |= {
        "worth_usd": mean,
        "worth_se_usd": 1e4,
        "value_per_dollar": value,
        "value_per_dollar_se": 1e4 / spent,
    }
    judged |= {
        "p_loss": float((stack[best] < 0).mean()),
        "some_refrac_chance": float((stack.max(axis=0) > 0).mean()),
        "best_refrac_chance": float((stack.argmax(axis=0) == best).mean()),
        "equals": 1,
        "equal_strategies": second,
    }
    judged |= dict.fromkeys(("p_loss_se", "some_refrac_chance_se", "best_refrac_chance_se"), 0.008)
    return judged | ASKED


def turning_rows(well: str, strategy: str) -> list[dict[str, Any]]:
    """Two inputs that turn it and one that does not."""
    head = {"well": well, "strategy": strategy}
    return [
        head
        | {"input": name, "unit": unit, "own_value": own, "low": own / 10, "high": 1.0 + 4.0 * own}
        | {"verdict_now": "refracture", "verdict_then": "marginal", "trials": 512}
        | {"turns_at": at, "turns_at_se": 0.02 if at == at else np.nan}
        | {
            "amount_unit": amount,
            "amount_now": 0.5 if amount else np.nan,
            "amount_then": 0.36 if amount else np.nan,
        }
        for name, unit, own, at, amount in (
            ("uplift", "factor", 1.0, 0.72, "of peak rate, P50"),
            ("chance of no response", "fraction", 0.0, 0.31, None),
            ("sleeve 40 stuck open", "chance", 0.0, np.nan, None),
        )
    ]
