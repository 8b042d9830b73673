"""The two cash kernels side by side on the awkward cases: what differs, as texts."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from refracmc.case.load import load_case
from refracmc.engine.draws import draw
from refracmc.engine.plan import build_plan
from refracmc.engine.valuation import evaluate
from refracmc.sampling.streams import BLOCK_SIZE
from tests.second_route.awkward import CASES

TOLERANCE = 1e-11
EXACT = ("payout_months", "executed", "capped")
JOB = ("job_days", "job_cost", "capex", "effective_share")
VOLUMES = ("eur", "incremental_eur")
MONEY = ("npv", "incremental_npv")

# What becomes of the drawn values: the edges of the model, one at a time.
EDGES = {
    "no uplift": {"response.uplift": 0.0},
    "nothing of the old kept": {"response.kept_fraction": 0.0},
    "all of it acceleration": {"response.acceleration_fraction": 1.0},
    "no room under the ultimate": {"response.headroom": 1.0},
    "never worth producing": {"opex.fixed_usd_per_month": 1e7},
    "no costs at all": {"opex.fixed_usd_per_month": 0.0, "opex.oil_usd_per_bbl": 0.0, "opex.water_usd_per_bbl": 0.0},
    "dear abandonment": {"opex.abandonment_usd": 1e8},
    "shut in beyond the horizon": {"job.waiting_days": 9000.0},
    "whole months shut in": {"job.waiting_days": 365.25},
    "well always lost": {"luck.u_event": 1e-12},
}  # fmt: skip


def awkward_plan(name, folder: Path):
    """The plan of the one well of a case of the second route's list."""
    text, tally = CASES[name]
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "case.toml").write_text(text, "utf-8")
    (folder / "sleeves.csv").write_text(tally, "utf-8")
    case = load_case(folder / "case.toml")
    return build_plan(case, case.wells[0], 0, None)


def drawn(plan, edge=None, trials=BLOCK_SIZE):
    """Draws of the first block, some of them set to an edge."""
    values = draw(plan, 0, trials)
    for key, value in (edge or {}).items():
        assert key in values, key
        values[key] = np.full_like(values[key], value)
    return values


def both(plan, draws):
    """Measures by the array kernel and by the compiled one."""
    return tuple(evaluate(replace(plan, compiled=on), draws).measures for on in (False, True))


def differences(arrays, compiled):
    """Texts of what is not identical (months, job) or not within 1e-11 of its scale (values).

    Scale of money: the largest value or discounted outlay of the trial over all strategies, of which each is
    a difference. Scale of a rate of return: 1 on the log of 1 + rate. Scale of the break-even price: the
    price times recovery over the gain in recovery, whose quotient it is.
    """
    found = []

    def compare(name, allowed):
        a, c = arrays[name], compiled[name]
        undefined = np.isnan(a) != np.isnan(c)
        if undefined.any():
            found.append(f"{name}: undefined by one kernel only in {undefined.sum()} trials")
        with np.errstate(invalid="ignore"):
            wrong = np.abs(a - c) > allowed
        if wrong.any():
            k, t = (int(i[0]) for i in np.nonzero(wrong))
            found.append(f"{name}: {wrong.sum()} differ, strategy {k} trial {t}: {a[k, t]!r}, {c[k, t]!r}")

    for name in EXACT:
        compare(name, 0.0)
    for name in JOB:  # sums in another order
        compare(name, 1e-12 * np.abs(arrays[name]))
    for name in VOLUMES:
        compare(name, TOLERANCE * arrays["eur"])
    money = [np.abs(arrays[name]).max(axis=0) for name in (*MONEY, "discounted_capex")]
    scale = np.maximum.reduce(money)
    for name in (*MONEY, "discounted_capex"):
        compare(name, TOLERANCE * scale)
    log_rate = [np.log1p(kernel["irr"]) for kernel in (arrays, compiled)]
    arrays, compiled = arrays | {"log rate": log_rate[0]}, compiled | {"log rate": log_rate[1]}
    compare("log rate", TOLERANCE * np.maximum(np.abs(log_rate[0]), 1.0))
    price, gain = np.abs(arrays["breakeven_price"]), np.abs(arrays["incremental_eur"])
    with np.errstate(divide="ignore", invalid="ignore"):
        compare("breakeven_price", TOLERANCE * np.maximum(price, price * arrays["eur"] / gain))
    return found
