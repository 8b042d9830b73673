"""Invented report tables of realistic size: three wells, four orders, twelve dates, 10,000 trials."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from refracmc.measures import DISTRIBUTION, SHARE, SUMMARY
from refracmc.reporting.tables import NOTHING, ReportData, RunFacts, build_report_data
from tests.reporting.job_rows import DATES, ORDERS, job_rows
from tests.reporting.verdict_rows import turning_rows, verdict_row

TRIALS = 4000
PARTS = ("mobilisation", "workover", "ct_spread", "frac_spread", "materials", "water", "trips", "patches",
         "perforations", "screenouts", "stuck_ct", "well_lost", "flowback", "disposal")  # fmt: skip


def _percentiles(values: np.ndarray) -> tuple[float, float, float]:
    low, mid, high = np.quantile(values, [0.1, 0.5, 0.9])
    return float(low), float(mid), float(high)


def _value(values: np.ndarray) -> dict[str, float]:
    low, mid, high = _percentiles(values)
    return {"mean_usd": float(values.mean()), "se_usd": float(values.std() / np.sqrt(values.size)),
        "p90_usd": low, "p50_usd": mid, "p10_usd": high}  # fmt: skip


def _timeline(well: str, strategy: str, sleeves: int, scenario: str, rng: np.random.Generator) -> list[dict]:
    rows: list[dict[str, Any]] = []
    hour, bad = 0.0, scenario == "typical"

    def add(action: str, sleeve: int | None, depth: float, hours: float, outcome: str = "ok") -> None:
        nonlocal hour
        rows.append(
            {
                "well": well,
                "strategy": strategy,
                "scenario": scenario,
                "step": len(rows) + 1,
                "action": action,
                "sleeve": sleeve,
                "depth_ft": depth,
                "start_hour": hour,
                "end_hour": hour + hours,
                "outcome": outcome,
            }
        )
        hour += hours

    depth = {k: 19800.0 - 155.0 * (k - 1) for k in range(1, sleeves + 1)}
    add("before", None, np.nan, 96.0 if not bad else 110.0)
    add("run_in", None, depth[sleeves], 3.5)
    add("cleanout", None, depth[sleeves], 8.0)
    for k in range(sleeves, 0, -1):
        stuck = bad and k == sleeves // 3
        add("move", k, depth[k], 0.08)
        add("close", k, depth[k], 1.6 if stuck else 0.5, "stuck open" if stuck else "ok")
        if not stuck:
            add("test", k, depth[k], 0.3)
    for k in range(1, sleeves + 1):
        add("move", k, depth[k], 0.08)
        add("open", k, depth[k], 0.5)
        out = bad and rng.random() < 0.05
        hours = 2.2 * (np.exp(0.25 * rng.normal()) if bad else 1)
        add("treat", k, depth[k], hours, "screenout" if out else "ok")
        if out:
            add("cleanout", k, depth[k], 9.0)
        if k % 20 == 0 and k < sleeves:
            add("trip", k, depth[k], 9.0)
    add("pull_out", None, 0.0, 3.4)
    if bad:
        add("npt", None, np.nan, 30.0, "crew waiting")
    add("after", None, np.nan, 72.0)
    return rows


def make_tables(
    ids: tuple[str, ...] = ("LK-01", "LK-02", "LK-03"), trials: int = TRIALS
) -> dict[str, pd.DataFrame]:
    """All tables of invented wells: the first clearly go, the second clearly no, the third between."""
    rows: dict[str, list[dict[str, Any]]] = {key: [] for key in ("summary", "decision", "distribution",
        "timing", "orders", "production", "cost", "timeline", "drivers", "tornado", "inputs",
        "cleaning", "verdicts", "turning_points")}  # fmt: skip
    names = [f"{o}@{d}" for o in ORDERS for d in DATES]
    for w, well in enumerate(ids):
        rng = np.random.default_rng(100 + w)
        base = np.exp(rng.normal(np.log(4.5e6), 0.3, trials)) - 1e6
        gain = np.exp(rng.normal(np.log([3.4e6, 1.2e6, 1.75e6][w % 3]), 0.7, trials))
        cost0 = np.exp(rng.normal(np.log(2.2e6), 0.12, trials))
        drop = [0.97, 0.985, 0.99][w % 3]
        inc: dict[str, np.ndarray] = {}
        for i, order in enumerate(ORDERS):
            for j, date in enumerate(DATES):
                luck = np.random.default_rng(i).normal(0, 4e4, trials)
                interior = 1 + (0.06 * j - 0.006 * j * j if w % 3 == 2 else 0)
                inc[f"{order}@{date}"] = (
                    gain * drop**j * interior * (1 - 0.01 * i) - (cost0 + 3e4 * i) * 0.975**j + luck
                )
        stack = np.stack([inc[n] for n in names])
        best = int(stack.mean(axis=1).argmax())
        order, date = names[best].split("@")
        every = np.vstack([np.zeros(trials), stack])
        top = every.max(axis=0)
        second = int(np.argsort(-stack.mean(axis=1))[1])
        lead = stack[best] - stack[second]
        chosen = stack[best]
        tail = np.sort(chosen)[: trials // 10]
        late = inc[f"{ORDERS[0]}@{DATES[-1]}"] * (gain > np.median(gain))
        gap = late - inc[f"{ORDERS[0]}@{DATES[0]}"]
        dates = {"early_month": DATES[1], "median_month": DATES[-1], "late_month": DATES[-1]}
        rows.setdefault("triggers", []).append({"well": well, "strategy": f"{ORDERS[0]}@dear_oil",
            "order": ORDERS[0], "trigger": "dear_oil", **_value(late), "p_loss": (late < 0).mean(),
            "p_loss_se": 0.01, "against": f"{ORDERS[0]}@{DATES[0]}", "gap_usd": gap.mean(),
            "gap_se_usd": gap.std() / np.sqrt(trials), "executed_share": 0.5, **dates})  # fmt: skip
        rows.setdefault("trigger_months", []).append({"well": well, "month": DATES[-1], "share": 0.5,
            "strategy": f"{ORDERS[0]}@dear_oil"})  # fmt: skip
        rows["decision"].append({"well": well, "strategy": names[best], "order": order, "date": date,
            "trigger": None, "early_month": date, "late_month": date, **_value(chosen),
            "p_loss": float((chosen < 0).mean()), "p_loss_se": float((chosen < 0).std() / np.sqrt(trials)),
            "cvar_usd": tail.mean(), "cvar_se_usd": tail.std() / np.sqrt(tail.size),
            "chance_of_best": float((every.argmax(axis=0) == best + 1).mean()),
            "chance_nothing_best": float((every.argmax(axis=0) == 0).mean()), "opportunity_loss_usd":
            float((top - chosen).mean()), "nothing_opportunity_loss_usd": float(top.mean()),
            "runner_up": names[second], "lead_usd": float(lead.mean()), "lead_se_usd": float(lead.std()
            / np.sqrt(trials)), "job_days": 14.2 + w, "job_days_se": 0.03, "job_cost_usd":
            float(cost0.mean()), "job_cost_se_usd": float(cost0.std() / np.sqrt(trials)),
            "executed_share": 1.0 if w != 1 else 0.973})  # fmt: skip
        rows.setdefault("scenarios", []).extend({"well": well, "scenario": name, "verdict": "marginal",
            "strategy": names[best], "date": date, **_value(shift + chosen), "p_loss": 0.4, "p_loss_se": 0.01,
            "difference_usd": shift, "difference_se_usd": 1e4, "choice": names[best], "choice_usd": None,
            "choice_se_usd": None, "regret_usd": None, "regret_se_usd": None}
            for name, shift in (("base", 0.0), ("low_price", -3e5)))  # fmt: skip
        rows["verdicts"].append(
            verdict_row(well, names[best], names[second], stack, best, float(cost0.mean()))
        )
        rows["turning_points"] += turning_rows(well, names[best])
        for name in (NOTHING, *names):
            extra = inc.get(name, np.zeros(trials))
            total = base + extra
            grid = np.arange(1, 100)
            for pct, a, b in zip(
                grid, np.quantile(total, 1 - grid / 100), np.quantile(extra, 1 - grid / 100), strict=True
            ):
                rows["distribution"].append({"well": well, "strategy": name, "exceedance_percent":
                    int(pct), "npv_usd": a, "incremental_npv_usd": b})  # fmt: skip
            for known in SUMMARY:
                measure = known.name
                row = {"well": well, "strategy": name, "measure": measure, "unit": known.unit_for("bbl"), "mean":
                    np.nan, "se": np.nan, "p90": np.nan, "p90_se": np.nan, "p50": np.nan, "p50_se": np.nan,
                    "p10": np.nan, "p10_se": np.nan, "undefined_share": 0.0}  # fmt: skip
                sample = {"npv": total, "incremental_npv": extra, "job_cost": cost0 * (name != NOTHING),
                    "eur": 3e5 + total / 20, "incremental_eur": (extra + cost0) / 40, "p_loss": (extra <
                    0).astype(float), "cvar": None, "capital_efficiency": extra / 2e6, "job_days": 14 +
                    rng.gamma(4, 0.8, trials), "irr": 0.2 + extra / 1e7, "payout_months": 12 +
                    rng.gamma(2, 9, trials), "breakeven_price": 45 + rng.gamma(3, 4, trials),
                    "capex": cost0 * (name != NOTHING), "effective_share": rng.beta(9, 1, trials) *
                    (name != NOTHING), "executed_share": np.full(trials, float(name != NOTHING)),
                    "capped_share": rng.integers(0, 2, trials).astype(float),
                    "offset_npv": np.zeros(trials), "irr_several_share": np.zeros(trials), "mirr": 0.15 + extra / 1e7,
                    "payout_share": (np.arange(trials) < 0.6 * trials).astype(float)}[measure]  # fmt: skip
                if known.given:
                    row["undefined_share"] = 1.0 if name == NOTHING else 0.31
                if measure == "cvar":
                    row.update(mean=float(np.sort(extra)[: trials // 10].mean()), se=2e4)
                elif sample is not None and row["undefined_share"] < 1:
                    low, mid, high = _percentiles(sample)
                    if not known.no_mean:
                        row.update(mean=float(sample.mean()), se=float(sample.std() / np.sqrt(trials)))
                    if measure == "payout_months":
                        high = np.inf
                    if known.summed in (DISTRIBUTION, SHARE):
                        row.update(p90=low, p50=mid, p10=high)
                rows["summary"].append(row)
        best_of: dict[str, str] = {}
        for o in ORDERS:
            first = inc[f"{o}@{DATES[0]}"]
            best_of[o] = max((f"{o}@{d}" for d in DATES), key=lambda n: inc[n].mean())
            for d in DATES:
                diff = inc[f"{o}@{d}"] - first
                rows["timing"].append({"well": well, "order": o, "date": d, **_value(inc[f"{o}@{d}"]),
                    "gain_usd": float(diff.mean()), "gain_se_usd": float(diff.std() / np.sqrt(trials))})  # fmt: skip
        for i, o in enumerate(ORDERS):
            gap = inc[best_of[o]] - chosen
            days = 13.5 + 0.4 * i + rng.gamma(4, 0.8, trials)
            cost = cost0 + 3e4 * i
            share = rng.beta(30, 4 + i, trials)
            rows["orders"].append({"well": well, "order": o, "date": best_of[o].split("@")[1],
                **_value(inc[best_of[o]]), "gap_usd": float(gap.mean()), "gap_se_usd": float(gap.std() /
                np.sqrt(trials)), "executed_share": 1.0,
                "job_days": days.mean(), "job_days_se": days.std() / np.sqrt(trials),
                **dict(zip(("job_days_p90", "job_days_p50", "job_days_p10"), _percentiles(days),
                strict=True)), "job_cost_usd": cost.mean(), "job_cost_se_usd": cost.std() /
                np.sqrt(trials), **dict(zip(("job_cost_p90_usd", "job_cost_p50_usd",
                "job_cost_p10_usd"), _percentiles(cost), strict=True)), "effective_share": share.mean(),
                "effective_share_se": share.std() / np.sqrt(trials), "extra_shifts": (0, 0, 38, 20)[i]})  # fmt: skip
        t = np.arange(72)
        history = 24000 / (1 + 0.09 * t) * np.exp(rng.normal(0, 0.12, 72))
        history[[0, 30, 31]] = [6000, 0, 900]
        for k in t:
            rows["production"].append({"well": well, "branch": "history", "strategy": None, "month":
                f"{2020 + (9 + k) // 12}-{(9 + k) % 12 + 1:02d}", "mean": history[k], "se": np.nan,
                "p90": np.nan, "p50": np.nan, "p10": np.nan, "unit": "bbl/month"})  # fmt: skip
        jump = 3 * DATES.index(date) + 3
        for branch in ("nothing", "refrac"):
            for k in range(360):
                rate = 24000 / (1 + 0.09 * (72 + k))
                if branch == "refrac" and k >= jump:
                    rate = 0.0 if k == jump else rate * 0.9 + 11000 / (1 + 0.12 * (k - jump))
                spread = 0.15 + 0.002 * k
                alive = 1.0 if k < 240 else max(0.0, 1 - (k - 240) / 80)
                rows["production"].append({"well": well, "branch": branch, "strategy": NOTHING if branch
                    == "nothing" else names[best], "month":
                    f"{2026 + (9 + k) // 12}-{(9 + k) % 12 + 1:02d}", "mean": rate * alive, "se": rate *
                    alive * 0.3 * spread / 6, "p90": rate * np.exp(-1.28 * spread) * (k < 180), "p50":
                    rate * (k < 270), "p10": rate * np.exp(1.28 * spread), "unit": "bbl/month"})  # fmt: skip
        weights = np.array([8, 9, 17, 24, 26, 5, 1.5, 0.4, 0.3, 0.8, 0.9, 0.5, 4, 2.6])
        for n in best_of.values():
            for part, weight in zip(PARTS, weights / weights.sum(), strict=True):
                rows["cost"].append({"well": well, "strategy": n, "part": part, "mean_usd": weight *
                    cost0.mean(), "se_usd": weight * 9e3, "share": weight})  # fmt: skip
        for scenario in ("planned", "typical"):
            rows["timeline"] += _timeline(well, names[best], (40, 24, 60)[w % 3], scenario, rng)
        for target in ("incremental_npv", "difference"):
            left = (
                np.array([0.05, 0.24, 0.1, 0.41, 0.06])
                if target == "difference"
                else np.array([0.16, 0.3, 0.07, 0.35, 0.03])
            )
            for group, first_order in zip(
                ("decline posterior", "price path", "sleeve and job luck", "response", "job costs"),
                left,
                strict=True,
            ):
                rows["drivers"].append({"well": well, "target": target, "group": group, "first":
                    first_order, "first_ci": 0.03, "total": first_order + 0.05, "total_ci": 0.035})  # fmt: skip
        for name, unit, low, high, swing in (
            ("response.uplift", "1", 0.31, 0.78, 2.1e6),
            ("prices.oil_level", "1", 0.75, 1.3, 1.4e6),
            ("response.decline_per_year", "1/year", 0.9, 1.9, -0.8e6),
            ("response.headroom", "1", 1.4, 2.2, 0.5e6),
            ("job.cost.frac_spread_usd_per_day", "US$ gross/d", 55000, 80000, -0.3e6),
            ("job.close_chance", "1", 0.93, 0.98, 0.2e6),
            ("job.sleeve_effect_sd", "logit", 1.5, 2.5, -0.1e6),
            ("response.kept_fraction", "1", 0.85, 1.0, 0.15e6),
            ("job.npt_fraction", "1", 0.05, 0.2, -0.12e6),
            ("opex.fixed_usd_per_month", "US$ gross/month", 7000, 10000, 0.02e6),
        ):
            mean = float(chosen.mean())
            rows["tornado"].append({"well": well, "strategy": names[best], "input": name, "unit": unit,
                "low_input": low, "high_input": high, "low_mean_usd": mean - swing / 2, "high_mean_usd":
                mean + swing * 0.6, "low_se_usd": 3e4, "high_se_usd": 3e4})  # fmt: skip
        rows["cleaning"] += [{"well": well, "status": "used", "reason": "main phase, on production",
            "months": 66, "first_month": "2021-01", "last_month": "2026-09"}, {"well": well, "status":
            "dropped", "reason": "ramp-up before the peak", "months": 3, "first_month": "2020-10",
            "last_month": "2020-12"}, {"well": well, "status": "dropped", "reason":
            "shut in (0 days on)", "months": 3, "first_month": "2023-04", "last_month": "2024-02"}]  # fmt: skip
    for k in range(46):
        rows["inputs"].append({"well": None if k < 30 else ids[k % len(ids)], "variable":
            f"job.input_{k}", "unit": "US$ gross/d", "distribution":
            f"lognormal, P90 {0.3 + k}, P10 {1.6 + k}", "source": "assumption" if k % 3 else
            "SPE-173340-MS", "is_assumption": bool(k % 3), "stated": k % 4 != 0})  # fmt: skip
    for w, well in enumerate(ids):
        for key, made in job_rows(well, 100 + w).items():
            rows.setdefault(key, []).extend(made)
    return {key: pd.DataFrame(made) for key, made in rows.items()}


def make_facts(**changes: Any) -> RunFacts:
    """Facts of an invented run."""
    given: dict[str, Any] = {
        "name": "demo",
        "title": "An invented field",
        "data_status": "invented",
        "trials": TRIALS,
        "seed": 7,
        "design": "latin_hypercube",
        "valuation_month": "2026-10",
        "horizon_months": 360,
        "annual_discount_rate": 0.1,
        "price_model": "mean_reverting",
        "blocks": 8,
        "version": "0.1.0",
    }
    return RunFacts(**{**given, **changes})


@pytest.fixture(scope="session")
def tables() -> dict[str, pd.DataFrame]:
    return make_tables()


@pytest.fixture(scope="session")
def data(tables: dict[str, pd.DataFrame]) -> ReportData:
    return build_report_data(make_facts(), tables)


@pytest.fixture(scope="session")
def table_maker() -> Callable[..., dict[str, pd.DataFrame]]:
    return make_tables


@pytest.fixture(scope="session")
def fact_maker() -> Callable[..., RunFacts]:
    return make_facts
