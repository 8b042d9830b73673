"""From a well of a case and the numbers drawn for it to one trial's inputs, as plain dicts, lists and floats.

Nothing is calculated here that the model calculates: settings are copied, drawn values read off their row.
"""

from tests.second_route import job_size
from tests.second_route.changes import Rules, plan_changes
from tests.second_route.orders import NAMED, stages_of
from tests.second_route.plan import plan_job
from tests.second_route.prices import price_path, service_index
from tests.second_route.trial import posterior_row

FORMS = ("modified_hyperbolic", "stretched_exponential", "duong")


def own_or(stated, other):
    return other if stated is None else stated


def yearly_fractions(schedule):
    """Fractions of the cost by tax year; None for what is written off at once.

    Declining balance in whole hundredths of a percent (20 years: thousandths): in each year the larger of 2 / years
    (1.5 / years from 15 years on) and 1 / (years left) of what is left, half of it in the first year; the half year at
    the end takes the rest.
    """
    if schedule == "straight_line_7y":
        return (1.0 / 14.0, *(1.0 / 7.0,) * 6, 1.0 / 14.0)
    if not schedule.startswith("macrs_"):
        return None
    years = int(schedule.removeprefix("macrs_"))
    units = 100000 if years == 20 else 10000
    twice = 4 if years < 15 else 3  # of the rate, times the years
    left, made = units, []
    for year in range(years):
        # the rate as a fraction: twice / (2 years), or 1 / (years + 0.5 - year) = 2 / (2 years + 1 - 2 year)
        top, bottom = twice, 2 * years
        if year and 2 * bottom > top * (2 * years + 1 - 2 * year):
            top, bottom = 2, 2 * years + 1 - 2 * year
        bottom *= 1 if year else 2
        part = (2 * left * top + bottom) // (2 * bottom)  # to the nearest, halves up
        made.append(part)
        left -= part
    return tuple(part / units for part in (*made, left))


class Row:
    """Drawn values of one trial by name; a number the case fixes is read from its section."""

    def __init__(self, draws, t):
        self.draws, self.t = draws, t

    def value(self, name):
        return float(self.draws[name][self.t])

    def several(self, name):
        return [float(x) for x in self.draws[name][self.t]]

    def section(self, prefix, section):
        """All keys of a section: drawn ones by their draw, the others as stated."""
        out = {}
        for key in type(section).model_fields:
            name = f"{prefix}.{key}"
            out[key] = self.value(name) if name in self.draws else getattr(section, key)
        return out


def month_number(text):
    year, month = text.split("-")
    return 12 * int(year) + int(month) - 1


def decline_inputs(plan, row):
    """The decline of the trial and its peak rate."""
    well, case = plan.well, plan.case
    main = well.main_phase
    others = [p for p in ("oil", "gas", "water") if p != main]
    at = month_number(case.valuation.date)
    if well.forecast == "history":
        p = plan.posterior
        stated = row.value("response.ultimate") if "response.ultimate" in row.draws else None
        rows = len(p.technical_eur) // p.sets
        first = int(row.value("forecast.set")) * rows
        recoveries = [float(x) for x in p.technical_eur[first : first + rows]]
        k = first + posterior_row(row.value("forecast.row"), recoveries, stated)
        secondary = {
            phase: tuple(float(part[k]) for part in p.secondary[phase])
            if phase in p.secondary
            else (0.0, 0.0, 1.0)
            for phase in others
        }
        last = month_number(str(well.history.dates[-1].astype("datetime64[M]")))
        return {
            "form": FORMS[int(p.form[k])],
            "slots": [float(x) for x in p.slots[:, k]],
            "uptime": float(p.uptime[k]),
            "running_uptime": float((p.uptime if p.running_uptime is None else p.running_uptime)[k]),
            "gap_months": at - last - 1,
            "history_cumulative": float(well.history.cumulative[main]),
            "secondary": secondary,
        }, float(well.history.peak_rate_per_d)
    curve = well.type_curve
    names = ("initial_rate_per_d", "initial_decline_per_year", "b", "terminal_decline_per_year")
    flat = {"oil": curve.oil_ratio, "gas": curve.gas_ratio, "water": curve.water_ratio}
    return {
        "form": "modified_hyperbolic",
        "slots": [row.value(f"type_curve.{name}") for name in names],
        "uptime": row.value("type_curve.uptime"),
        "running_uptime": row.value("type_curve.uptime"),
        "gap_months": at - month_number(curve.first_production),
        "history_cumulative": 0.0,
        "secondary": {phase: (flat[phase], flat[phase], 1.0) for phase in others},
    }, row.value("type_curve.peak_rate_per_d")


def tally_inputs(tally, job_month, valuation_month):
    installed = [month_number(str(x.astype("datetime64[M]"))) for x in tally.installed]
    return {
        "depth_ft": [float(x) for x in tally.depth_ft],
        "state": [str(x) for x in tally.state],
        "isolation": [str(x) for x in tally.isolation],
        "shifts": [int(x) for x in tally.shifts],
        "age_years": [(job_month - x) / 12.0 for x in installed],
        "age_years_now": [(valuation_month - x) / 12.0 for x in installed],
    }


def share_inputs(tally, response):
    """How old production and refrac potential lie over the sleeves; stated shares are taken as they are."""
    producing = ("open", "stuck_open", "perforated", "leaking")
    stated = {}
    for name in ("production_share", "potential_share"):
        share = getattr(tally, name)
        stated[name] = None if share is None else [float(x) for x in share]
    return {
        **stated,
        "share_log_sd": response.share_log_sd,
        "potential_log_sd": response.potential_log_sd,
        "share_potential_correlation": response.share_potential_correlation,
        "old_producer": [str(x) in producing for x in tally.state],
        "treatable": [str(x) not in ("stuck_closed", "patched") for x in tally.state],
    }


def planned_changes(job, tally, order, policy):
    """Where the plan changes its assembly or string: ((kind, depth), ...); None where trips are counted instead."""
    if job.trip_planning != "least_cost":
        return None
    actions = plan_job(
        tally,
        order,
        policy["close_policy"],
        policy["reclose_habit"],
        policy["ct_reach_ft"],
        policy["leaking_sleeve"],
    )
    rules = Rules(
        job.stages_per_bha,
        job.ct_string_life_ft,
        *(
            float(getattr(job, key).mean())  # expected when the plan is made
            for key in ("bha_change_hours", "string_change_hours", "ct_speed_ft_per_min")
        ),
    )
    return plan_changes(tuple(tally["depth_ft"]), tuple(actions), rules)


def stage_order(plan, name, tally, reach):
    """Sleeves in the order treated: a named order, one of the case, or one given to the plan by hand."""
    if name in NAMED:
        return NAMED[name](stages_of(tally, reach))
    listed = plan.well.settings.strategies.custom_orders.get(name)
    return [int(s) for s in (listed or plan.orders[name].job.order)]


def method_inputs(chosen, row, order):
    """(kind, its table with drawn values) of another isolation method; None for an order of stages."""
    section = getattr(chosen.methods, order, None)
    return None if section is None else (order, row.section(f"strategies.methods.{order}", section))


def trigger_inputs(chosen, strategy, valuation):
    """The table of the strategy's trigger, months counted from the valuation month; None for a fixed date."""
    if strategy.trigger is None:
        return None
    section = chosen.triggers[strategy.name.split("@")[1]]
    out = {key: getattr(section, key) for key in type(section).model_fields}
    for key in ("earliest", "latest"):
        out[key] = month_number(out[key]) - valuation
    return out


def reach_ft(chosen, tally, ct_reach_ft):
    """How deep the tools work: the tubing's reach, or a patch on record they do not pass."""
    limits = [] if ct_reach_ft is None else [ct_reach_ft]
    if chosen.patched_restricts == "lost":
        limits += [float(d) for d, s in zip(tally.depth_ft, tally.state, strict=True) if str(s) == "patched"]
    return min(limits) if limits else None


def money_inputs(plan, row):
    case, settings = plan.case, plan.well.settings
    prices, fiscal = case.prices, settings.fiscal
    process = prices.model in ("geometric_brownian", "mean_reverting")
    path = price_path(
        {
            "model": prices.model,
            "deck_oil": [float(x) for x in plan.deck_oil],
            "deck_gas": [float(x) for x in plan.deck_gas],
            "level_oil": row.value("prices.oil_level"),
            "level_gas": row.value("prices.gas_level"),
            "shocks_oil": row.several("prices.shock_oil") if process else [],
            "shocks_gas": row.several("prices.shock_gas") if process else [],
            "volatility": (prices.oil_annual_volatility, prices.gas_annual_volatility),
            "reversion": (prices.oil_reversion_per_year, prices.gas_reversion_per_year),
            "correlation": prices.oil_gas_correlation,
        }
    )
    tax = fiscal.income_tax
    terms = None
    if tax is not None:
        terms = {
            "rate": tax.rate,
            "schedule": tax.schedule,
            "intangible_fraction": tax.intangible_fraction,
            "yearly_fractions": yearly_fractions(tax.schedule),
        }
    return path | {
        "working": settings.interests.working,
        "net_revenue": settings.interests.net_revenue,
        "oil_differential": row.value("prices.oil_differential_usd_per_bbl"),
        "gas_differential": row.value("prices.gas_differential_usd_per_mcf"),
        "ngl_yield_bbl_per_mcf": row.value("prices.ngl_yield_bbl_per_mcf"),
        "ngl_price_fraction_of_oil": row.value("prices.ngl_price_fraction_of_oil"),
        "annual_cost_escalation": case.valuation.annual_cost_escalation,
        "annual_discount_rate": case.valuation.annual_discount_rate,
        "finance_rate": own_or(case.valuation.annual_finance_rate, case.valuation.annual_discount_rate),
        "reinvestment_rate": own_or(
            case.valuation.annual_reinvestment_rate, case.valuation.annual_discount_rate
        ),
        "valuation_month": month_number(case.valuation.date) % 12 + 1,
        "opex": row.section("opex", settings.opex),
        "fiscal": {
            "severance_oil_fraction": fiscal.severance_oil_fraction,
            "severance_gas_fraction": fiscal.severance_gas_fraction,
            "ad_valorem_fraction": fiscal.ad_valorem_fraction,
            "income_tax": terms,
        },
    }


def beside_inputs(well, row, valuation):
    """The wells beside: drawn values, whether they are hit, interests, month of the child wells; None without any."""
    section = well.settings.offset_wells
    if section is None:
        return None
    out = row.section("offset_wells", section)
    hit = "luck.u_offset_hit"
    out["hit"] = hit in row.draws and row.value(hit) < out["hit_chance"]
    if out["working"] is None:
        out["working"] = well.settings.interests.working
        out["net_revenue"] = well.settings.interests.net_revenue
    if out["child_month"] is not None:
        out["child_month"] = month_number(out["child_month"]) - valuation
    return out


def trial_inputs(plan, draws, strategy, t, month=None):
    """Everything the second route needs for one trial of one strategy; month: that in which its trigger fires."""
    month = strategy.month if month is None else month
    row = Row(draws, t)
    settings, tally = plan.well.settings, plan.well.tally
    chosen, job = settings.strategies, settings.job
    well, peak = decline_inputs(plan, row)
    money = money_inputs(plan, row)
    inputs = row.section("job", job)
    rates = row.section("job.cost", job.cost)

    def index_at(i):
        return service_index(
            money["oil_factor"],
            rates["service_index_beta"],
            job.cost.service_index_lag_months,
            job.cost.service_index_sd,
            row.value("costs.service_luck"),
            i,
        )

    rates["service_index"] = index_at(month)
    response = row.section("response", settings.response)
    size = None if not strategy.size else (chosen.sizes[strategy.size], job.size)
    drawn = row.section("job.size", job.size) if size else {}
    water = float(job.cost.water_bbl_per_stage.mean())
    response["size_effect"] = job_size.resize(size, drawn, water, inputs, rates)
    response["intensity_lb_per_ft"] = settings.completion.proppant_lb_per_ft
    response["peak_rate_per_d"] = peak
    response["technical_limit"] = (
        response["technical_limit_bbl_per_d"]
        if plan.well.main_phase == "oil"
        else response["technical_limit_mcf_per_d"]
    )
    response["idle"] = well["uptime"] == 0.0
    response["u_responds"] = row.value("luck.u_responds") if "luck.u_responds" in draws else 1.0
    response["r_now"] = {phase: ratio[0] for phase, ratio in well["secondary"].items()}
    luck = {}
    for name, values in draws.items():
        if name.startswith("luck."):
            read = row.value if values.ndim == 1 else row.several
            luck[name.removeprefix("luck.")] = read(name)
    valuation = month_number(plan.case.valuation.date)
    sleeves = tally_inputs(tally, valuation + month, valuation)
    policy = {
        "close_policy": chosen.close_policy,
        "reclose_habit": chosen.reclose_habit,
        "leaking_sleeve": chosen.leaking_sleeve,
        "when_not_closing": chosen.when_not_closing,
        "when_not_opening": chosen.when_not_opening,
        "when_not_reopening": chosen.when_not_reopening,
        "stop_loss_failed_closes": chosen.stop_loss_failed_closes,
        "max_tries": job.max_tries,
        "patched_restricts": chosen.patched_restricts,
        "changes": None,
        "ct_reach_ft": reach_ft(chosen, tally, settings.completion.ct_reach_ft),
    }
    method, order = method_inputs(chosen, row, strategy.order), None
    if method is None:
        order = stage_order(plan, strategy.order, sleeves, policy["ct_reach_ft"])
        policy["changes"] = planned_changes(job, sleeves, order, policy)
    return {
        "months": plan.case.valuation.horizon_months,
        "main": plan.well.main_phase,
        "job_month": month,
        "trigger": trigger_inputs(chosen, strategy, valuation) if month < 0 else None,
        "at_month": lambda i: trial_inputs(plan, draws, strategy, t, i),
        "lease_holding_months": settings.opex.lease_holding_months,
        "order": order,
        "method": method,
        "well": well,
        "money": money,
        "service_index": index_at,
        "tally": sleeves,
        "inputs": inputs,
        "rates": rates,
        "policy": policy,
        "response": response,
        "beside": beside_inputs(plan.well, row, valuation),
        "shares": share_inputs(tally, settings.response),
        "stress": row.section("stress", settings.stress),
        "luck": luck,
    }
