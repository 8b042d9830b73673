"""Second route, part 5: the month in which a trigger starts the job of one trial.

Written from the docstring of `refracmc/engine/triggers.py` and the reference: at the start of a month the rate and the
price of the month before, the well's own limit and this month's service costs are known.
"""

from tests.second_route.decline import MONTH


def month_of(trigger, volumes, limit, prices, service_index, lease_holding_months):
    """First month of the window in which condition and gate hold; None where none does.

    trigger: the keys of its table, `earliest` and `latest` counted from the valuation month; volumes: main phase by
    month of the well left alone; limit: its last producing month; prices: of the main phase; service_index: month
    -> index.
    """
    for i in range(max(trigger["earliest"], 1), min(trigger["latest"], len(volumes) - 1) + 1):
        producing = i - 1 <= limit
        rate = volumes[i - 1] / MONTH if producing else 0.0
        known = {"rate": rate, "price": prices[i - 1], "index": service_index(i)}
        idle = i - 1 - limit
        if holds(trigger, rate, idle, lease_holding_months) and gate(trigger, known):
            return i
    return None


def holds(trigger, rate, idle, lease_holding_months):
    """idle: whole months the well has stood still at the start of the month, below 0 while it produces on."""
    if trigger["when"] == "rate_below":
        return rate < trigger["rate_per_d"]
    if trigger["when"] == "economic_limit":
        return 0 <= idle <= lease_holding_months
    return True


def gate(trigger, known):
    at_least = ((trigger["min_rate_per_d"], known["rate"]), (trigger["min_price_usd"], known["price"]))
    if any(bound is not None and value < bound for bound, value in at_least):
        return False
    bound = trigger["max_service_index"]
    return bound is None or known["index"] <= bound
