"""Small cases of other isolation methods, of dates set by triggers, and of planned changes; invented numbers."""

from tests.second_route.awkward import (
    DECK,
    GAS_WELL,
    HARD_JOB,
    HEAD,
    NEW_RULES,
    OIL_WELL,
    PROCESS,
    SAMPLING,
    TALLY,
    strategies,
    valuation,
)

STAGE_ORDERS = '["toe_to_heel", "alternating"]'
BULLHEAD = """[strategies.methods.bullhead]
volume_fraction = {dist = "uniform", low = 0.05, high = 1.6}
diverter_drops = 5
hours_per_drop = {dist = "uniform", low = 0.2, high = 1.5}
diverter_usd_per_drop = 7000
share_log_sd = {dist = "uniform", low = 0.2, high = 2.0}
effect_fraction = {dist = "uniform", low = 0.2, high = 0.8}
"""
STRADDLE = """[strategies.methods.straddle]
seal_chance = {dist = "uniform", low = 0.3, high = 0.9}
sets_per_trip = 3
hours_per_set = {dist = "uniform", low = 0.4, high = 1.5}
"""
LINER = """[strategies.methods.liner]
liner_fails_chance = 0.3
stage_spacing_ft = 220.0
stage_fails_chance = 0.2
volume_factor = {dist = "uniform", low = 0.1, high = 2.4}
old_kept_fraction = {dist = "uniform", low = 0.3, high = 0.7}
effect_factor = {dist = "uniform", low = 0.8, high = 1.6}
"""
POOR = (
    "[opex]\nfixed_usd_per_month = {dist = 'uniform', low = 2000, high = 16000}\nlease_holding_months = 9\n"
)
TRIGGERS = """[strategies.triggers.slow]
when = "rate_below"
rate_per_d = 40.0
earliest = "2026-10"
latest = "2033-06"
min_rate_per_d = 4.0
min_price_usd = 60.0
max_service_index = 1.1
[strategies.triggers.spent]
when = "economic_limit"
earliest = "2026-10"
latest = "2040-06"
[strategies.triggers.cheap]
when = "date"
earliest = "2028-03"
latest = "2031-02"
max_service_index = 1.0
orders = ["straddle", "toe_to_heel"]
"""

CASES = {
    # Every method on a well of every state, a job that goes wrong often, a casing that may fail.
    "methods": (
        HEAD
        + SAMPLING
        + valuation()
        + PROCESS.replace("[prices]", "[prices]\nmodel = 'mean_reverting'")
        + "[fiscal]\n[fiscal.income_tax]\nrate = 0.21\n"
        + HARD_JOB
        + NEW_RULES
        + strategies('["toe_to_heel"]', ["2026-12", "2029-05"])
        + BULLHEAD
        + STRADDLE
        + LINER
        + OIL_WELL,
        TALLY,
    ),
    # Tubing that does not reach the toe, a patch on record, sleeves listed for the straddle in no order, a liner
    # with lengths that hold no sleeve.
    "methods, reach, patch on record": (
        HEAD
        + SAMPLING
        + valuation('terms = "nominal"\nannual_cost_escalation = 0.03\n')
        + DECK
        + HARD_JOB
        + strategies('["toe_to_heel"]', ["2027-02", "2034-08"], 'patched_restricts = "lost"\n')
        + BULLHEAD
        + STRADDLE
        + "sleeves = [9, 6, 8]\n"
        + LINER.replace("220.0", "60.0")
        + OIL_WELL
        + "[wells.completion]\nct_reach_ft = 15000.0\n",
        TALLY.replace("cement,2024-05,closed", "cement,2024-05,patched"),
    ),
    # Dates by trigger for orders and methods on a price process, a poor well that reaches its limit early.
    "triggers": (
        HEAD
        + SAMPLING
        + valuation()
        + PROCESS.replace("[prices]", "[prices]\nmodel = 'mean_reverting'")
        + "[fiscal]\n[fiscal.income_tax]\nrate = 0.21\n"
        + POOR
        + HARD_JOB
        + "age_slope_per_year = -0.3\n"
        + strategies(STAGE_ORDERS, ["2026-12"])
        + "[strategies.methods.straddle]\n"
        + TRIGGERS
        + OIL_WELL,
        TALLY,
    ),
    # A gas well on a known path: its limit is known too; windows that start before anything is known.
    "triggers, gas, known path": (
        HEAD
        + SAMPLING
        + valuation()
        + "[prices]\nmodel = 'deck_with_level'\noil_usd_per_bbl = 60.0\ngas_usd_per_mcf = 2.9\n"
        + "gas_level = {dist = 'lognormal', p90 = 0.6, p10 = 1.7}\n"
        + "oil_level = {dist = 'lognormal', p90 = 0.6, p10 = 1.7}\n"
        + POOR
        + strategies(STAGE_ORDERS, ["2026-12"])
        + "[strategies.methods.liner]\n"
        + TRIGGERS.replace("40.0", "300.0")
        .replace("= 4.0", "= 20.0")
        .replace("60.0", "2.2")
        .replace('"straddle"', '"liner"')
        + GAS_WELL,
        TALLY,
    ),
    # Planned changes under every habit that makes the tubing run, a string that lasts little.
    "planned changes": (
        HEAD
        + SAMPLING
        + valuation()
        + DECK
        + HARD_JOB
        + 'trip_planning = "least_cost"\nct_string_life_ft = 36000.0\n'
        + 'bha_change_hours = {dist = "uniform", low = 2.0, high = 9.0}\n'
        + 'string_change_hours = {dist = "uniform", low = 12.0, high = 50.0}\n'
        + strategies('["two_pass", "alternating", "heel_to_toe"]', ["2027-02"], 'reclose_habit = "every"\n')
        + OIL_WELL,
        TALLY,
    ),
}
