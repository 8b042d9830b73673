"""Second route, part 4a: one trial's prices from its level or its shocks, and what is expected ahead."""

import math

MONTHS_AHEAD = 12


def log_variance(volatility, reversion, years):
    if reversion == 0.0:
        return volatility * volatility * years
    return volatility * volatility * -math.expm1(-2.0 * reversion * years) / (2.0 * reversion)


def factors(shocks, volatility, reversion):
    """Price over deck, month by month: mean one, known (one) in month 0; exact steps of the log price."""
    x, out = 0.0, [1.0]
    step = math.sqrt(log_variance(volatility, reversion, 1.0 / 12.0))
    for i in range(1, len(shocks)):
        x = math.exp(-reversion / 12.0) * x + step * shocks[i]
        out.append(math.exp(x - 0.5 * log_variance(volatility, reversion, i / 12.0)))
    return out


def shock_correlation(correlation, k, g):
    """Correlation of two monthly steps whose Brownian motions have the stated one, reverting at k and g."""

    def span(a):
        return 1.0 / 12.0 if a == 0.0 else -math.expm1(-a / 12.0) / a

    return correlation * span(k + g) / math.sqrt(span(2.0 * k) * span(2.0 * g))


def mean_ahead(deck, factor, volatility, reversion):
    """Mean over a year from month i (cut at the horizon) of the prices expected from the price of month i."""
    out = []
    for i in range(len(deck)):
        var = log_variance(volatility, reversion, i / 12.0)
        x = math.log(factor[i]) + 0.5 * var
        prices = []
        for j in range(i, min(i + MONTHS_AHEAD, len(deck))):
            p = math.exp(-reversion * (j - i) / 12.0)
            prices.append(deck[j] * math.exp(p * x - 0.5 * p * p * var))
        out.append(math.fsum(prices) / len(prices))
    return out


def price_path(terms):
    """Oil and gas prices of a trial, the yearly means expected from them, and the factors on the deck."""
    months = len(terms["deck_oil"])
    model = terms["model"]
    volatility, reversion = terms["volatility"], terms["reversion"]
    if model == "geometric_brownian":
        reversion = (0.0, 0.0)
    if model in ("geometric_brownian", "mean_reverting"):
        c = shock_correlation(terms["correlation"], *reversion)
        rest = math.sqrt(1.0 - c * c)
        gas_shocks = [c * a + rest * b for a, b in zip(terms["shocks_oil"], terms["shocks_gas"], strict=True)]
        oil = factors(terms["shocks_oil"], volatility[0], reversion[0])
        gas = factors(gas_shocks, volatility[1], reversion[1])
    else:
        levels = model == "deck_with_level"
        oil = [terms["level_oil"] if levels else 1.0] * months
        gas = [terms["level_gas"] if levels else 1.0] * months
    path = {
        "oil_price": [d * f for d, f in zip(terms["deck_oil"], oil, strict=True)],
        "gas_price": [d * f for d, f in zip(terms["deck_gas"], gas, strict=True)],
        "oil_factor": oil,
        "limit_rule": "exact",
    }
    if model in ("geometric_brownian", "mean_reverting"):
        path["limit_rule"] = "look_ahead"
        path["expected_oil_price"] = mean_ahead(terms["deck_oil"], oil, volatility[0], reversion[0])
        path["expected_gas_price"] = mean_ahead(terms["deck_gas"], gas, volatility[1], reversion[1])
    return path


def service_index(oil_factor, beta, lag_months, sd, z, month):
    """Cost of services over today's: follows the oil price a lag behind; the price was on deck before."""
    earlier = oil_factor[month - lag_months] if month >= lag_months else 1.0
    return math.exp(beta * math.log(earlier) + sd * z - 0.5 * sd * sd)
