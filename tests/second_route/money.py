"""Second route, part 4: prices, monthly cash, life limits, tax and measures of one trial."""

import itertools
import math


def net_prices(money, i):
    """US$ to the account per unit of oil and of gas sold in month i, after royalty and production taxes."""
    f = money["fiscal"]
    nri = money["net_revenue"]
    oil = money["oil_price"][i]
    oil_factor = 1.0 - f["severance_oil_fraction"] - f["ad_valorem_fraction"]
    gas_factor = 1.0 - f["severance_gas_fraction"] - f["ad_valorem_fraction"]
    ngl = money["ngl_yield_bbl_per_mcf"] * money["ngl_price_fraction_of_oil"] * oil
    return (
        nri * (oil + money["oil_differential"]) * oil_factor,
        nri * (money["gas_price"][i] + money["gas_differential"] + ngl) * gas_factor,
    )


def escalation(money, i):
    return (1.0 + money["annual_cost_escalation"]) ** ((i + 0.5) / 12.0)


def discount(money, i):
    return (1.0 + money["annual_discount_rate"]) ** (-(i + 0.5) / 12.0)


def operating_net(money, volumes, i):
    """Net US$ of month i while the well is produced or worked on: revenue less every operating cost."""
    a, b = net_prices(money, i)
    o = money["opex"]
    oil, gas, water = (volumes[p][i] for p in ("oil", "gas", "water"))
    per_volume = o["oil_usd_per_bbl"] * oil + o["gas_usd_per_mcf"] * gas + o["water_usd_per_bbl"] * water
    seen = money.get("seen_from", i)
    cost = o["fixed_usd_per_month"] * escalation(money, i) + per_volume * escalation(money, seen)
    return a * oil + b * gas - money["working"] * cost


def exact_limit(money, net, lowest):
    """Last month to produce, at least `lowest`, with the largest discounted sum; ties go to the earlier."""
    total = 0.0
    best = 0.0 if lowest == -1 else -math.inf
    limit = lowest
    for i, value in enumerate(net):
        total += value * discount(money, i)
        if i >= lowest and i >= 0 and total > best:
            best, limit = total, i
    return limit


def look_ahead_limit(money, volumes, lowest):
    """Last month before the first whose next twelve months are expected to lose money."""
    months = len(volumes["oil"])
    for i in range(lowest + 1, months):
        expected = 0.0
        flat = dict(money, seen_from=i)  # prices and costs per unit as they stand in month i
        flat["oil_price"] = [money["expected_oil_price"][i]] * months
        flat["gas_price"] = [money["expected_gas_price"][i]] * months
        for k in range(i, min(i + 12, months)):
            expected += operating_net(flat, volumes, k)
        if expected < 0.0:
            return i - 1
    return months - 1


def life_limit(money, volumes, lowest):
    if money["limit_rule"] == "look_ahead":
        return look_ahead_limit(money, volumes, lowest)
    net = [operating_net(money, volumes, i) for i in range(len(volumes["oil"]))]
    return exact_limit(money, net, lowest)


def neighbours(money, beside, job_month, main):
    """Monthly US$ that a job brings or costs the owner in wells beside it, after income tax."""
    months = len(money["oil_price"])
    line = [0.0] * months
    if beside is None:
        return line
    tax = money["fiscal"].get("income_tax")
    kept = 1.0 - tax["rate"] if tax else 1.0
    there = dict(money, net_revenue=beside["net_revenue"], working=beside["working"])
    for i in range(job_month, months):
        fades = beside["recovery_months"]
        left = 1.0 - (i - job_month + 0.5) / fades if fades > 0.0 else 0.0
        if left > 0.0 and beside["hit"]:
            years = (i + 0.5) / 12.0
            made = beside["rate_per_d"] * 365.25 / 12.0 * math.exp(-beside["decline_per_year"] * years)
            unit = net_prices(there, i)[0 if main == "oil" else 1]
            key = "oil_usd_per_bbl" if main == "oil" else "gas_usd_per_mcf"
            unit -= there["working"] * escalation(money, i) * money["opex"][key]
            line[i] -= beside["lost_fraction"] * left * made * unit * kept
    child = beside["child_month"]
    if child is not None and job_month <= child < months:
        line[child] += beside["child_value_usd"]
    return line


def cash_flow(money, volumes, limit, suspended, job_cost, job_month, beside=None):
    """Monthly columns (US$) of one branch.

    volumes: phase -> list, `limit` the last producing month (-1: none), `suspended` the months the well is
    held, job_cost 100 % (0 for doing nothing) in job_month (None for doing nothing).
    """
    months = len(volumes["oil"])
    wi = money["working"]
    net, held, capex, abandonment = ([0.0] * months for _ in range(4))
    for i in range(months):
        if i in suspended:
            held[i] = wi * money["opex"]["holding_usd_per_month"] * escalation(money, i)
            net[i] = -held[i]
        elif i <= limit:
            net[i] = operating_net(money, volumes, i)
    if job_month is not None:
        capex[job_month] = wi * job_cost
    end = min(limit + 1, months - 1)
    abandonment[end] = wi * money["opex"]["abandonment_usd"] * escalation(money, end)
    tax = income_tax(money, net, abandonment, capex, job_month)
    beside = beside or [0.0] * months
    flow = [net[i] - capex[i] - abandonment[i] - tax[i] + beside[i] for i in range(months)]
    return {
        "operating_net": net,
        "holding": held,
        "capex": capex,
        "abandonment": abandonment,
        "tax": tax,
        "beside": beside,
        "net": flow,
        "discounted": [flow[i] * discount(money, i) for i in range(months)],
    }


def income_tax(money, net, abandonment, capex, job_month):
    months = len(net)
    terms = money["fiscal"].get("income_tax")
    if terms is None:
        return [0.0] * months
    deducted = [0.0] * months
    if job_month is not None:
        cost = capex[job_month]
        if terms["schedule"] == "expensed":
            deducted[job_month] += cost
        else:
            deducted[job_month] += cost * terms["intangible_fraction"]
            spread = depreciation(terms["yearly_fractions"], job_month, money["valuation_month"], months)
            for i in range(months):
                deducted[i] += cost * (1.0 - terms["intangible_fraction"]) * spread[i]
    return [terms["rate"] * (net[i] - abandonment[i] - deducted[i]) for i in range(months)]


def depreciation(yearly, job_month, valuation_month, months):
    """Fraction of the depreciable cost deducted in each month; valuation_month is 1..12 of the calendar."""
    out = [0.0] * months
    for year, fraction in enumerate(yearly):
        first_of_year = job_month
        if year > 0:
            # January of the year-th calendar year after the job's.
            position = (valuation_month - 1 + job_month) % 12
            first_of_year = job_month - position + 12 * year
        position = (valuation_month - 1 + first_of_year) % 12
        count = 12 - position
        for i in range(first_of_year, first_of_year + count):
            out[min(i, months - 1)] += fraction / count
    return out


def measures(money, strategy, nothing, volumes, base_volumes, made_before, job_month, main):
    """Every per-trial measure of an executed strategy against doing nothing."""
    change = [a - b for a, b in zip(strategy["net"], nothing["net"], strict=True)]
    npv = math.fsum(strategy["discounted"])
    incremental = math.fsum(strategy["discounted"]) - math.fsum(nothing["discounted"])
    return {
        "npv": npv,
        "incremental_npv": incremental,
        "irr": at_most(one_rate(change), 10.0),  # reported up to 1,000 % a year
        "offset_npv": math.fsum(x * discount(money, i) for i, x in enumerate(strategy["beside"])),
        "mirr": modified_rate(change, money["finance_rate"], money["reinvestment_rate"]),
        "payout_months": payout(change, job_month),
        "eur": made_before + math.fsum(volumes[main]),
        "incremental_eur": math.fsum(volumes[main]) - math.fsum(base_volumes[main]),
        "breakeven_price": breakeven(money, incremental, volumes, base_volumes, main),
    }


def at_most(value, bound):
    """The bound where the value is above it; an undefined value stays undefined."""
    return bound if value > bound else value


def one_rate(change):
    """Annual effective rate, where there is one.

    Where the cumulative changes sign once, from - to + (Norstrom 1972), the root above zero. Else by the sign of the
    present value on 49 rates from 0 to 10, even in their logarithm: the root where it falls below zero, if it does so
    once and never rises; 10 if it is nowhere below zero; several rates (undefined) if it rises anywhere; and where it
    is below zero on all, the first root below zero found likewise down to -0.9, or -1.
    """
    running, signs = 0.0, []
    for x in change:
        running += x
        sign = (running > 0.0) - (running < 0.0)
        if sign and (not signs or signs[-1] != sign):
            signs.append(sign)
    if not any(change):
        return math.nan
    start = next(i for i, x in enumerate(change) if x)

    def value(log_rate):
        return math.fsum(x * math.exp(-log_rate * (i - start) / 12.0) for i, x in enumerate(change) if x)

    def root(low, high):
        for _ in range(100):
            middle = 0.5 * (low + high)
            if value(middle) >= 0.0:
                low = middle
            else:
                high = middle
        return math.expm1(0.5 * (low + high))

    if signs == [-1, 1] and running > 0.0:
        low, high = 0.0, 1.0
        while value(high) > 0.0:
            low, high = high, 2.0 * high
        return root(low, high)
    if 1 in signs:
        rungs = [k * math.log(11.0) / 48 for k in range(49)]
        kept = [value(rung) >= 0.0 for rung in rungs]
        if any(after and not before for before, after in itertools.pairwise(kept)):
            return math.nan
        if all(kept):
            return 10.0
        if kept[0]:
            return root(rungs[kept.index(False) - 1], rungs[kept.index(False)])
    elif running >= 0.0:
        return 0.0
    rungs = [-k * math.log(10.0) / 48 for k in range(49)]
    for above, below in itertools.pairwise(rungs):
        if value(below) >= 0.0:
            return root(below, above)
    return -1.0


def modified_rate(change, finance_rate, reinvestment_rate):
    """Worth of the income in the last month over that of the outlay in the first, as a rate a year."""
    cash = [(i, x) for i, x in enumerate(change) if abs(x) >= 0.01]  # a cent at least
    if not cash:
        return math.nan
    first, last = cash[0][0], cash[-1][0]
    income = math.fsum(x * (1.0 + reinvestment_rate) ** ((last - i) / 12.0) for i, x in cash if x > 0.0)
    outlay = math.fsum(-x / (1.0 + finance_rate) ** ((i - first) / 12.0) for i, x in cash if x < 0.0)
    if outlay == 0.0:
        return math.inf
    return (income / outlay) ** (12.0 / (last - first)) - 1.0 if income else -1.0


def payout(change, job_month):
    """Months from the job's start, its own month counted, until the cumulative is first not negative."""
    if not any(change):
        return math.nan
    running = math.fsum(change[:job_month])
    for i in range(job_month, len(change)):
        running += change[i]
        if running >= 0.0:
            return float(i - job_month + 1)
    return math.inf


def breakeven(money, incremental, volumes, base_volumes, main):
    """Flat benchmark price of the main phase that makes the incremental NPV nothing, all else held."""
    f = money["fiscal"]
    tax = f["income_tax"]["rate"] if f.get("income_tax") else 0.0
    factor = 1.0 - f[f"severance_{main}_fraction"] - f["ad_valorem_fraction"]
    per_unit = money["net_revenue"] * factor * (1.0 - tax)
    volume = revenue = 0.0
    for i in range(len(volumes[main])):
        extra = (volumes[main][i] - base_volumes[main][i]) * discount(money, i)
        volume += extra
        revenue += extra * money[main + "_price"][i]
    if volume <= 0.0 or per_unit <= 0.0:
        return math.inf if incremental - per_unit * revenue < 0.0 else math.nan
    return -at_most(-at_most((revenue - incremental / per_unit) / volume, 1000.0), 1000.0)
