"""What a verdict asks for: section [decision]. All of it is judgement; the page shows it before the verdicts."""

from __future__ import annotations

from refracmc.case.key_rules import Section, number


class Decision(Section):
    """What a refrac must be worth, how often it may lose, and what counts as marginal."""

    least_value_per_dollar: float = number(
        0.1,
        "US$ WI/US$ WI",
        "least mean incremental NPV per mean discounted capex of a refrac that is advised",
        -10.0,
        100.0,
    )
    marginal_value_per_dollar: float = number(
        0.1,
        "US$ WI/US$ WI",
        "how far below that it is marginal still; further below, leave the well",
        0.0,
        100.0,
    )
    greatest_chance_of_loss: float = number(
        0.5, "fraction", "greatest chance of a loss of a refrac that is advised", 0.0, 1.0
    )
    marginal_chance_of_loss: float = number(
        0.15, "fraction", "how far above that it is marginal still; further above, leave the well", 0.0, 1.0
    )
    tail_weight: float = number(
        0.0,
        "fraction",
        "weight of the mean of the worst trials (cvar_tail_fraction) in the value, the mean taking the rest; "
        "0: risk neutral",
        0.0,
        1.0,
    )
