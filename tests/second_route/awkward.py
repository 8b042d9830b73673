"""Small cases that lie where rules meet: one well each, by type curve, invented numbers."""

TALLY = """sleeve,depth_ft,isolation_above,state_date,state,shifts,installed
1,15200,packer,2024-05,leaking,2,2016-02
2,15050,cement,2024-05,open,1,2016-02
3,14880,none,2024-05,stuck_open,3,2016-02
4,14700,packer,2024-05,open,1,2016-02
5,14560,cement,2024-05,closed,4,2016-02
6,14390,packer,2024-05,open,1,2016-02
7,14200,packer,2024-05,stuck_closed,2,2016-02
8,14060,cement,2024-05,perforated,1,2016-02
9,13900,packer,2024-05,open,0,2016-02
10,13720,cement,2024-05,open,1,2016-02
"""
SHARES = """sleeve,depth_ft,isolation_above,state_date,state,shifts,production_share,potential_share
1,15200,packer,2024-05,open,2,0.1,2.0
2,15050,packer,2024-05,open,1,0.4,1.0
3,14880,packer,2024-05,patched,3,0.3,1.0
4,14700,packer,2024-05,open,1,0.2,0.5
5,14560,packer,2024-05,open,4,0.0,0.1
"""
HEAD = """schema_version = 1
name = "awkward"
title = "an invented well"
data_status = "invented"
"""
SAMPLING = """[sampling]
trials = 512
seed = 77
[job.cost]
patch_usd = {dist = "uniform", low = 20000, high = 60000}
service_index_beta = 0.5
service_index_lag_months = 4
load_recovery_fraction = 0.3
"""
HARD_JOB = """[job]
close_chance = 0.6
open_chance = {dist = "beta", alpha = 8, beta = 2}
reclose_chance = 0.6
reopen_chance = 0.7
max_tries = 2
stages_per_bha = 3
trip_chance_per_stage = 0.2
screenout_chance = 0.2
screenout_placed_fraction = 0.5
stuck_ct_chance = 0.2
well_lost_chance_given_stuck = 0.5
leak_chance_cement = 0.2
leak_chance_packer = 0.5
patch_success = 0.6
perforate_success = 0.6
work_hours_per_day = 12
"""
NEW_RULES = """closed_leak_chance = 0.4
leak_test_finds_chance = 0.6
casing_failure_chance = 0.2
well_lost_chance_given_casing_failure = 0.5
"""
CURVE = """[wells.type_curve]
initial_rate_per_d = {dist = "lognormal", p90 = 500, p10 = 1100}
initial_decline_per_year = {dist = "uniform", low = 0.9, high = 2.5}
b = {dist = "uniform", low = 0.0, high = 1.4}
first_production = "2016-02"
peak_rate_per_d = {dist = "lognormal", p90 = 450, p10 = 1000}
uptime = {dist = "uniform", low = 0.7, high = 1.0}
"""
OIL_WELL = (
    """[[wells]]
id = "A-1"
tally = "sleeves.csv"
main_phase = "oil"
forecast = "type_curve"
[wells.interests]
working = 0.8
net_revenue = 0.6
"""
    + CURVE
    + """gas_ratio = 1.4
water_ratio = 1.1
"""
)
GAS_WELL = (
    OIL_WELL.replace('"oil"', '"gas"')
    .replace("gas_ratio = 1.4", "oil_ratio = 0.03")
    .replace("p90 = 500, p10 = 1100", "p90 = 4000, p10 = 9000")
    .replace("p90 = 450, p10 = 1000", "p90 = 3500, p10 = 8000")
)


def valuation(extra=""):
    return '[valuation]\ndate = "2026-10"\nhorizon_months = 240\n' + extra


def strategies(orders, dates, extra=""):
    listed = ", ".join(f'"{x}"' for x in dates)
    return f"[strategies]\norders = {orders}\ndates = [{listed}]\n{extra}"


DECK = "[prices]\nmodel = 'deck'\noil_usd_per_bbl = 68.0\ngas_usd_per_mcf = 3.1\n"
PROCESS = """[prices]
oil_usd_per_bbl = 66.0
gas_usd_per_mcf = 3.4
oil_annual_volatility = 0.35
gas_annual_volatility = 0.5
oil_gas_correlation = 0.4
oil_differential_usd_per_bbl = {dist = "normal", mean = -4.0, sd = 1.0}
gas_differential_usd_per_mcf = -0.3
ngl_yield_bbl_per_mcf = {dist = "uniform", low = 0.0, high = 0.08}
"""
ALL_ORDERS = '["toe_to_heel", "heel_to_toe", "alternating", "two_pass"]'

CASES = {
    # A known deck (the exact optimum), nominal money with rising costs, income tax written off over years.
    "deck, nominal, tax": (
        HEAD
        + SAMPLING
        + valuation(
            'annual_discount_rate = 0.11\nterms = "nominal"\nannual_cost_escalation = 0.025\n'
            "annual_finance_rate = 0.07\nannual_reinvestment_rate = 0.035\n"
        )
        + DECK
        + "[fiscal]\n[fiscal.income_tax]\nrate = 0.24\nintangible_fraction = 0.6\nschedule = 'macrs_15'\n"
        + strategies(ALL_ORDERS, ["2026-10", "2027-05", "2040-12"])
        + OIL_WELL,
        TALLY,
    ),
    # A price process in nominal terms: the look-ahead rule takes unit costs as they stand in its month.
    "process, nominal": (
        HEAD
        + SAMPLING
        + valuation('terms = "nominal"\nannual_cost_escalation = 0.06\nannual_reinvestment_rate = 0.0\n')
        + PROCESS.replace("[prices]", "[prices]\nmodel = 'geometric_brownian'")
        + strategies(ALL_ORDERS, ["2026-12", "2030-06"])
        + OIL_WELL,
        TALLY,
    ),
    # Every fallback at once, the habits that cost most, stop-loss, a job that may lose the well.
    "fallbacks, every reclose, needed closing": (
        HEAD
        + SAMPLING
        + valuation()
        + PROCESS.replace("[prices]", "[prices]\nmodel = 'geometric_brownian'")
        + HARD_JOB
        + strategies(
            ALL_ORDERS,
            ["2027-02", "2029-08"],
            'close_policy = "needed"\nreclose_habit = "every"\nwhen_not_closing = "patch"\n'
            'when_not_opening = "perforate"\nwhen_not_reopening = "perforate"\n'
            "stop_loss_failed_closes = 2\n",
        )
        + OIL_WELL,
        TALLY,
    ),
    # Patches in the way of the tools, closures that leak, a casing that fails, planned changes of assembly.
    "patches lose what is below": (
        HEAD
        + SAMPLING
        + valuation()
        + DECK
        + HARD_JOB
        + NEW_RULES
        + strategies(
            ALL_ORDERS,
            ["2027-02", "2028-02"],
            'close_policy = "needed"\nwhen_not_closing = "patch"\npatched_restricts = "lost"\n',
        )
        + OIL_WELL,
        TALLY,
    ),
    "slim tools below a patch on record, planned changes": (
        HEAD
        + SAMPLING
        + valuation()
        + DECK
        + HARD_JOB
        + NEW_RULES
        + 'trip_planning = "least_cost"\nct_string_life_ft = 60000.0\n'
        + strategies(
            ALL_ORDERS,
            ["2027-02"],
            'reclose_habit = "every"\nwhen_not_closing = "patch"\npatched_restricts = "slim"\n',
        )
        + OIL_WELL,
        TALLY.replace("cement,2024-05,closed", "cement,2024-05,patched"),
    ),
    # Stop-loss after a close-all pass; failures stay as they are; coiled tubing that does not reach all.
    "stop-loss, reach": (
        HEAD
        + SAMPLING
        + valuation()
        + DECK
        + HARD_JOB
        + strategies(ALL_ORDERS, ["2027-02"], "stop_loss_failed_closes = 1\n")
        + OIL_WELL
        + "[wells.completion]\nct_reach_ft = 15000.0\n",
        TALLY,
    ),
    # A poor well at high fixed cost: suspended before the job, or the lease is lost.
    "suspended, lease lost": (
        HEAD
        + SAMPLING
        + valuation()
        + PROCESS.replace("[prices]", "[prices]\nmodel = 'mean_reverting'")
        + "[opex]\nfixed_usd_per_month = {dist = 'uniform', low = 20000, high = 90000}\n"
        + "lease_holding_months = 30\n"
        + "[fiscal]\n[fiscal.income_tax]\nrate = 0.21\nschedule = 'straight_line_7y'\n"
        + strategies(ALL_ORDERS, ["2027-01", "2028-07", "2031-03", "2045-08"])
        + OIL_WELL,
        TALLY,
    ),
    "suspended, deck": (
        HEAD
        + SAMPLING
        + valuation()
        + DECK
        + "[opex]\nfixed_usd_per_month = {dist = 'uniform', low = 20000, high = 90000}\n"
        + "lease_holding_months = 48\n"
        + strategies(ALL_ORDERS, ["2028-07", "2029-03"])
        + OIL_WELL,
        TALLY,
    ),
    # A gas well with condensate and liquids, a stated ultimate that caps, expensed tax.
    "gas, stated ultimate": (
        HEAD
        + SAMPLING
        + valuation()
        + PROCESS.replace("[prices]", "[prices]\nmodel = 'mean_reverting'\ngas_reversion_per_year = 0.9")
        + "[fiscal]\n[fiscal.income_tax]\nrate = 0.21\nschedule = 'expensed'\n"
        + "[response]\nultimate = {dist = 'lognormal', p90 = 6.0e6, p10 = 2.2e7}\n"
        + "oil_start_factor = 1.3\noil_final_factor = 0.7\nwater_start_factor = 4.0\n"
        + "acceleration_fraction = {dist = 'uniform', low = 0.0, high = 0.99}\n"
        + strategies(ALL_ORDERS, ["2027-01", "2028-01"])
        + GAS_WELL,
        TALLY,
    ),
    # Wells that may not respond, by a chance that is uncertain itself, and a record whose mean is.
    "no response, record factor": (
        HEAD
        + SAMPLING
        + valuation()
        + PROCESS.replace("[prices]", "[prices]\nmodel = 'geometric_brownian'")
        + "[response]\nno_response_chance = {dist = 'beta', alpha = 4, beta = 6}\n"
        + "uplift_record_factor = {dist = 'lognormal', p90 = 0.6, p10 = 1.5}\n"
        + strategies(ALL_ORDERS, ["2027-01", "2029-06"])
        + OIL_WELL,
        TALLY,
    ),
    # Another uptime after the job, and limits of liquid and gas that hold back what comes; suspended wells among them.
    "uptime and limits after the job": (
        HEAD
        + SAMPLING
        + valuation()
        + PROCESS.replace("[prices]", "[prices]\nmodel = 'mean_reverting'")
        + "[opex]\nfixed_usd_per_month = {dist = 'uniform', low = 5000, high = 40000}\nlease_holding_months = 60\n"
        + "[fiscal]\n[fiscal.income_tax]\nrate = 0.21\nschedule = 'macrs_3'\n"
        + "[response]\nuptime = {dist = 'uniform', low = 0.3, high = 1.0}\nuplift = 0.9\nkept_fraction = 0.9\n"
        + "liquid_limit_bbl_per_d = {dist = 'lognormal', p90 = 60, p10 = 600}\n"
        + "gas_limit_mcf_per_d = {dist = 'lognormal', p90 = 60, p10 = 600}\n"
        + strategies(ALL_ORDERS, ["2027-01", "2030-06", "2044-11"])
        + OIL_WELL,
        TALLY,
    ),
    "limit of gas, known deck": (
        HEAD
        + SAMPLING
        + valuation()
        + DECK
        + "[response]\ngas_limit_mcf_per_d = {dist = 'lognormal', p90 = 200, p10 = 3000}\n"
        + strategies(ALL_ORDERS, ["2027-01", "2030-06"])
        + GAS_WELL,
        TALLY,
    ),
    # Shares stated in the tally, a level on the deck, stress off, part of the sleeves, little headroom.
    "stated shares, level, custom order": (
        HEAD
        + SAMPLING
        + valuation()
        + "[prices]\nmodel = 'deck_with_level'\noil_usd_per_bbl = 60.0\ngas_usd_per_mcf = 2.5\n"
        + "oil_level = {dist = 'lognormal', p90 = 0.6, p10 = 1.7}\n"
        + "[stress]\nenabled = false\n"
        + "[response]\nheadroom = {dist = 'uniform', low = 1.0, high = 1.3}\n"
        + "reference_intensity_lb_per_ft = 1600\nintensity_elasticity = 0.4\nacceleration_fraction = 0.9\n"
        + strategies('["some", "toe_to_heel"]', ["2027-01"], 'reclose_habit = "every"\n')
        + "[strategies.custom_orders]\nsome = [4, 1, 5]\n"
        + OIL_WELL
        + "[wells.completion]\nproppant_lb_per_ft = 900.0\n",
        SHARES,
    ),
    # Nothing is ever reclosed, circular cracks, and months of shut-in beyond the horizon's end.
    "never reclosed, long job near the end": (
        HEAD
        + SAMPLING
        + valuation()
        + DECK
        + "[job]\nwaiting_days = {dist = 'uniform', low = 20, high = 500}\n"
        + "[stress]\ncrack = 'penny'\nhalf_height_ft = 200.0\n"
        + strategies('["toe_to_heel"]', ["2045-03", "2045-10"], 'reclose_habit = "never"\n')
        + OIL_WELL,
        TALLY,
    ),
    # Two leaking sleeves high up that are opened and closed again, or fail to, or leak still.
    "leaking sleeves above": (
        HEAD
        + SAMPLING
        + valuation()
        + DECK
        + HARD_JOB
        + NEW_RULES
        + strategies(
            ALL_ORDERS,
            ["2026-12", "2028-03"],
            'close_policy = "needed"\nwhen_not_closing = "patch"\nstop_loss_failed_closes = 3\n',
        )
        + OIL_WELL,
        TALLY.replace("6,14390,packer,2024-05,open", "6,14390,packer,2024-05,leaking").replace(
            "9,13900,packer,2024-05,open", "9,13900,packer,2024-05,leaking"
        ),
    ),
}
