"""Small awkward cases of what is off unless asked for: sizes of the job, offset wells. Invented numbers."""

from tests.second_route.awkward import (
    DECK,
    GAS_WELL,
    HARD_JOB,
    HEAD,
    OIL_WELL,
    PROCESS,
    SAMPLING,
    TALLY,
    strategies,
    valuation,
)

BESIDE = """[wells.offset_wells]
rate_per_d = {dist = "lognormal", p90 = 60, p10 = 300}
decline_per_year = {dist = "uniform", low = 0.1, high = 0.4}
hit_chance = {dist = "beta", alpha = 5, beta = 5}
lost_fraction = {dist = "uniform", low = -0.3, high = 0.9}
recovery_months = {dist = "uniform", low = 0, high = 40}
child_value_usd = {dist = "normal", mean = 50000, sd = 200000}
child_month = "2029-02"
"""
CHOICES = {
    # Sizes of the job by factor, by the stage and by the foot, one of them nothing; uncertain elasticities.
    "sizes of the job": (
        HEAD
        + SAMPLING
        + "water_bbl_per_stage = {dist = 'uniform', low = 800, high = 1600}\n"
        + valuation()
        + DECK
        + HARD_JOB
        + "[job.size]\nproppant_lb_per_ft = 600\nft_per_stage = 150\n"
        + "proppant_elasticity = {dist = 'uniform', low = 0.1, high = 0.6}\n"
        + "fluid_elasticity = {dist = 'uniform', low = 0.0, high = 0.3}\n"
        + "proppant_share_of_materials = {dist = 'beta', alpha = 6, beta = 4}\n"
        + "flowback_share_of_days_after = {dist = 'beta', alpha = 3, beta = 7}\n"
        + strategies('["toe_to_heel", "two_pass"]', ["2027-02", "2029-08"], 'when_not_closing = "patch"\n')
        + "[strategies.sizes.light]\nproppant_lb_per_stage = 30000\npumping_rate_factor = 0.8\n"
        + "[strategies.sizes.heavy]\nproppant_lb_per_ft = 1500\nfluid_bbl_per_ft = 12\n"
        + "[strategies.sizes.double]\nfactor = 2\n"
        + "[strategies.sizes.none]\nfactor = 0\n"
        + "[strategies.triggers.low]\nwhen = 'rate_below'\nrate_per_d = 90\nearliest = '2027-01'\n"
        + "latest = '2032-01'\n[strategies.methods.bullhead]\n[strategies.methods.straddle]\n"
        + OIL_WELL,
        TALLY,
    ),
    # Wells beside it hit by the job, at interests of their own, and child wells that a job in time protects.
    "offset wells, tax, known deck": (
        HEAD
        + SAMPLING
        + valuation('terms = "nominal"\nannual_cost_escalation = 0.03\n')
        + DECK
        + HARD_JOB
        + "[fiscal]\n[fiscal.income_tax]\nrate = 0.23\n"
        + strategies('["toe_to_heel", "two_pass"]', ["2026-11", "2031-05"], "stop_loss_failed_closes = 1\n")
        + OIL_WELL
        + BESIDE
        + "working = 0.6\nnet_revenue = 0.5\n",
        TALLY,
    ),
    "offset wells, gas, process": (
        HEAD
        + SAMPLING
        + valuation()
        + PROCESS.replace("[prices]", "[prices]\nmodel = 'mean_reverting'")
        + "[opex]\nfixed_usd_per_month = {dist = 'uniform', low = 5000, high = 60000}\nlease_holding_months = 60\n"
        + strategies('["toe_to_heel", "two_pass"]', ["2026-11", "2031-05"])
        + GAS_WELL
        + BESIDE,
        TALLY,
    ),
}
