"""Sections that all wells of the case share: sampling, valuation, prices, fiscal terms, opex, dependence, outputs.

Each description ends with the default's source; "assumption" where no source stands behind it.
"""

from __future__ import annotations

from typing import Literal

from pydantic import StrictBool, StrictStr

from refracmc.case.key_rules import (
    Problem,
    Section,
    Uncertain,
    choice,
    integer,
    month,
    number,
    uncertain,
)
from refracmc.production.common_shock import COMMON_PART

MAX_TRIALS = 10_000_000
USD_BBL, USD_MCF = "US$/bbl", "US$/Mcf"


class Sampling(Section):
    """How many trials, from which seed, laid out how."""

    trials: int = integer(10_000, "trials", "number of trials per strategy", 2, MAX_TRIALS)
    seed: int = integer(20261101, "", "root of all random streams", 0, 2**63 - 1)
    design: Literal["latin_hypercube", "plain", "sobol"] = choice(
        "latin_hypercube", "latin_hypercube, plain or sobol", source="McKay, Beckman & Conover 1979"
    )


class Valuation(Section):
    """Date, horizon and terms of the valuation."""

    date: str = month(..., "valuation month; discounting is to its first day")
    horizon_months: int = integer(360, "months", "months valued from the valuation date", 12, 720)
    annual_discount_rate: float = number(
        0.10, "1/year", "effective annual discount rate", 0.0, 1.0, source="common practice, no source"
    )
    annual_finance_rate: float | None = number(
        None, "1/year", "rate at which `mirr` finances what is spent; absent: annual_discount_rate", 0.0, 1.0
    )
    annual_reinvestment_rate: float | None = number(
        None, "1/year", "rate at which `mirr` reinvests what comes in; absent: annual_discount_rate", 0.0, 1.0
    )
    terms: Literal["real", "nominal"] = choice(
        "real", "real or nominal money, for prices, costs and rate alike"
    )
    annual_cost_escalation: float = number(
        0.0, "1/year", "yearly rise of costs, nominal terms only", -0.2, 0.5
    )
    cvar_tail_fraction: float = number(
        0.1, "fraction", "worst share of trials averaged by CVaR", 0.0, 1.0, above=True
    )

    @property
    def finance_rate(self) -> float:
        """Of what is spent, 1/year."""
        stated = self.annual_finance_rate
        return self.annual_discount_rate if stated is None else stated

    @property
    def reinvestment_rate(self) -> float:
        """Of what comes in, 1/year."""
        stated = self.annual_reinvestment_rate
        return self.annual_discount_rate if stated is None else stated

    def problems(self) -> list[Problem]:
        if self.terms == "real" and self.annual_cost_escalation != 0.0:
            return [
                (
                    ("annual_cost_escalation",),
                    f"{self.annual_cost_escalation:g} 1/year with real terms",
                    "0 in real terms",
                    'remove it, or set terms = "nominal" and give nominal prices and a nominal rate',
                )
            ]
        return []


class Prices(Section):
    """Oil and gas prices: a deck, a deck times a level, or a process whose mean path is the deck."""

    model: Literal["deck", "deck_with_level", "geometric_brownian", "mean_reverting"] = choice(
        "deck", "deck, deck_with_level, geometric_brownian or mean_reverting (Schwartz 1997, one factor)"
    )
    deck_file: StrictStr | None = choice(None, "CSV with month, oil_usd_per_bbl, gas_usd_per_mcf")
    oil_usd_per_bbl: float | None = number(
        None, USD_BBL, "flat oil price, in place of a deck file", 0.0, 1000.0
    )
    gas_usd_per_mcf: float | None = number(
        None, USD_MCF, "flat gas price, in place of a deck file", 0.0, 200.0
    )
    oil_level: Uncertain = uncertain(1.0, "factor", "multiplies the oil deck (deck_with_level)", 0.0)
    gas_level: Uncertain = uncertain(1.0, "factor", "multiplies the gas deck (deck_with_level)", 0.0)
    oil_annual_volatility: float = number(
        0.30, "1/sqrt(year)", "volatility of the oil price process", 0.0, 3.0
    )
    gas_annual_volatility: float = number(
        0.40, "1/sqrt(year)", "volatility of the gas price process", 0.0, 3.0
    )
    oil_reversion_per_year: float = number(
        0.5, "1/year", "speed of reversion of the log oil price (mean_reverting)", 0.0, 20.0, above=True
    )
    gas_reversion_per_year: float = number(
        1.0, "1/year", "speed of reversion of the log gas price (mean_reverting)", 0.0, 20.0, above=True
    )
    oil_gas_correlation: float = number(0.3, "", "correlation of oil and gas price shocks", -0.999, 0.999)
    oil_differential_usd_per_bbl: Uncertain = uncertain(0.0, USD_BBL, "added to the oil price at the lease")
    gas_differential_usd_per_mcf: Uncertain = uncertain(0.0, USD_MCF, "added to the gas price at the lease")
    ngl_yield_bbl_per_mcf: Uncertain = uncertain(
        0.0, "bbl/Mcf", "natural gas liquids per gas sold; they pay the severance of gas", 0.0, 0.5
    )
    ngl_price_fraction_of_oil: Uncertain = uncertain(0.3, "fraction", "NGL price over oil price", 0.0)

    def problems(self) -> list[Problem]:
        found: list[Problem] = []
        flat = [name for name in ("oil_usd_per_bbl", "gas_usd_per_mcf") if getattr(self, name) is not None]
        remedy = "give deck_file, or both flat prices"
        if self.deck_file is None and len(flat) < 2:
            lacking = "oil_usd_per_bbl" if "oil_usd_per_bbl" not in flat else "gas_usd_per_mcf"
            found.append(((lacking,), "neither a deck file nor this flat price", "one of the two", remedy))
        if self.deck_file is not None and flat:
            found += [((name,), "a flat price beside a deck file", "one of the two", remedy) for name in flat]
        uses = {
            "oil_level": ("deck_with_level",),
            "gas_level": ("deck_with_level",),
            "oil_annual_volatility": ("geometric_brownian", "mean_reverting"),
            "gas_annual_volatility": ("geometric_brownian", "mean_reverting"),
            "oil_gas_correlation": ("geometric_brownian", "mean_reverting"),
            "oil_reversion_per_year": ("mean_reverting",),
            "gas_reversion_per_year": ("mean_reverting",),
        }
        for name, models in uses.items():
            if name in self.model_fields_set and self.model not in models:
                found.append(
                    (
                        (name,),
                        f"this key with model = {self.model!r}, which does not use it",
                        f"only with model = {' or '.join(models)}",
                        "remove it or change the model",
                    )
                )
        return found


class IncomeTax(Section):
    """Income tax at the level of the project; losses are used elsewhere."""

    rate: float = number(..., "fraction", "income tax rate", 0.0, 1.0, below=True)
    schedule: Literal[
        "macrs_3", "macrs_5", "macrs_7", "macrs_10", "macrs_15", "macrs_20", "straight_line_7y", "expensed"
    ] = choice(
        "macrs_7",
        "depreciation of what is not expensed, half-year convention (macrs_3 to macrs_20: declining balance over so "
        "many years, then straight line; straight_line_7y: 1/14, six of 1/7, 1/14; expensed: all in the job month)",
        source="IRS Publication 946, table A-1",
    )
    intangible_fraction: float = number(0.7, "fraction", "share of the job expensed at once", 0.0, 1.0)


class Fiscal(Section):
    """Production taxes as fractions of the revenue after royalty, and an optional income tax."""

    severance_oil_fraction: float = number(
        0.046, "fraction", "severance on oil revenue", 0.0, 1.0, source="Texas statute, oil 4.6 %"
    )
    severance_gas_fraction: float = number(
        0.075, "fraction", "severance on gas revenue", 0.0, 1.0, source="Texas statute, gas 7.5 %"
    )
    ad_valorem_fraction: float = number(0.02, "fraction", "ad valorem tax on revenue", 0.0, 1.0)
    income_tax: IncomeTax | None = choice(None, "table [fiscal.income_tax]; absent: values are before tax")

    def problems(self) -> list[Problem]:
        found: list[Problem] = []
        for name in ("severance_oil_fraction", "severance_gas_fraction"):
            total = getattr(self, name) + self.ad_valorem_fraction
            if total >= 1.0:
                text = f"{total:g} together with ad_valorem_fraction"
                found.append(((name,), text, "a sum below 1", "check the tax rates"))
        return found


class Opex(Section):
    """Operating cost at the 8/8 level, abandonment, and holding of a suspended well."""

    fixed_usd_per_month: Uncertain = uncertain(
        9_000.0, "US$ gross/month", "fixed cost while on production or in the job", 0.0
    )
    oil_usd_per_bbl: Uncertain = uncertain(4.0, "US$ gross/bbl", "variable cost of oil", 0.0)
    gas_usd_per_mcf: Uncertain = uncertain(0.4, "US$ gross/Mcf", "variable cost of gas", 0.0)
    water_usd_per_bbl: Uncertain = uncertain(
        1.0, "US$ gross/bbl", "handling and disposal of produced water", 0.0
    )
    abandonment_usd: Uncertain = uncertain(
        120_000.0, "US$ gross", "plugging and site, due at the end of life", 0.0
    )
    holding_usd_per_month: Uncertain = uncertain(
        1_500.0, "US$ gross/month", "cost of holding a suspended well", 0.0
    )
    lease_holding_months: int = integer(24, "months", "longest suspension before the lease is lost", 0, 720)


class Pair(Section):
    """Rank correlation of two inputs of one scope."""

    a: StrictStr = choice(..., "key path of an input")
    b: StrictStr = choice(..., "key path of another input of the same scope")
    rank_correlation: float = number(..., "", "Spearman rank correlation", -1.0, 1.0, above=True, below=True)


class Dependence(Section):
    """Rank correlations between inputs; all pairs not named are independent."""

    pairs: tuple[Pair, ...] = choice((), "list of {a = ..., b = ..., rank_correlation = ...}")
    forecast_common_part: float = number(
        COMMON_PART,
        "fraction",
        "share of the variance of the forecasts' errors (normal scores) that wells of one area and main phase have in "
        "common; a well's own band stays what it is, that of a sum of wells widens",
        0.0,
        0.95,
        source="hindcasts of 19 areas: 0.22 to 0.34, each with an error of about 0.1",
    )


class Outputs(Section):
    """What a run writes beside the summary and the block files."""

    keep_trials: StrictBool = choice(False, "write every input and measure of every trial")
    charts: StrictBool = choice(True, "draw the charts")


class Pooling(Section):
    """How the fits of the case's wells hang together, and whether a well may stand idle ahead."""

    pool: StrictBool = choice(
        False,
        "the wells of the case move the prior of their fits; false: each fit stands alone, so that a well added "
        "or changed alters no other well's numbers",
    )
    teachers: StrictStr | None = choice(
        None,
        "file of neighbours that are not valued, CSV or Parquet, columns as of a history; by their months before the "
        "end of the case's histories they move the prior of the fits; rows of the case's own wells are passed over; "
        "absent: none",
    )
    idle_hurdle: StrictBool = choice(
        True,
        "a well may stand idle for good from the next month on, with a chance learned from many wells by rate, age and "
        "months shut in; false: it runs in every trial",
        source="learned from many wells",
    )
