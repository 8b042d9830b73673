"""An invented field of many wells as the CSV files of a case: no number in it describes a real well.

Every well has a random stream of its own, so that the first wells are the same however many are made. Every range is an
assumption. Rates are per producing day, volumes per calendar month, depths measured.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refracmc.case.units import month_number, month_text
from refracmc.production.decline import cumulative

Array = NDArray[np.float64]
Generator = np.random.Generator

MOST_WELLS = 5000
SEED = 20261101
LAST_MONTH = "2026-09"
WELLS_ON_A_PAD = 3
PADS_IN_AN_AREA = 5
AREAS = ("north", "east", "south")
GAS_AREA = "south"
WELL_COLUMNS = (
    "id",
    "area",
    "pad",
    "interests.working",
    "interests.net_revenue",
    "completion.ct_reach_ft",
    "completion.toe_md_ft",
    "completion.lateral_ft",
    "completion.proppant_lb_per_ft",
    "opex.fixed_usd_per_month",
    "opex.water_usd_per_bbl",
    "job.close_chance",
    "response.uplift.p90",
    "response.uplift.p10",
)
HISTORY_COLUMNS = ("well_id", "date", "oil_bbl", "gas_mcf", "water_bbl", "days_on")
TALLY_COLUMNS = (
    "well_id",
    "sleeve",
    "depth_ft",
    "isolation_above",
    "state_date",
    "state",
    "shifts",
    "installed",
)


@dataclass(frozen=True)
class InventedWell:
    """One well. first: month number of first production; peak: main phase per producing day; decline: nominal, at the
    peak; water: bbl per unit of the main phase; idle: months shut in at the end of history."""

    name: str
    area: str
    pad: str
    gas: bool
    first: int
    peak: float
    decline_per_year: float
    b: float
    uptime: float
    second_ratio: tuple[float, float]
    water: float
    idle: int
    sleeves: int
    toe_ft: float
    spacing_ft: float
    cemented: bool


def invented_field(count: int) -> dict[str, str]:
    """Text of wells.csv, history.csv and sleeves.csv of `count` wells, the same every time."""
    wells, history, tally = [], [], []
    for k in range(count):
        facts, months, sleeves = (np.random.default_rng([SEED, k, part]) for part in range(3))
        well = _well(k, facts)
        wells.append(_row(well, facts))
        history += _history(well, months)
        tally += _sleeves(well, sleeves)
    return {
        "wells.csv": _csv(WELL_COLUMNS, wells),
        "history.csv": _csv(HISTORY_COLUMNS, history),
        "sleeves.csv": _csv(TALLY_COLUMNS, tally),
    }


def _csv(head: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(rows)
    return text.getvalue()


def _spread(random: Generator, p90: float, p10: float) -> float:
    """A lognormal draw whose P90 (low) and P10 are given, cut at the P99.9 and P0.1."""
    z = float(np.clip(random.standard_normal(), -3.1, 3.1))
    middle, log_sd = np.log(p90 * p10) / 2.0, np.log(p10 / p90) / (2.0 * 1.2816)
    return float(np.exp(middle + log_sd * z))


def _well(k: int, random: Generator) -> InventedWell:
    pad = k // WELLS_ON_A_PAD
    area = AREAS[pad // PADS_IN_AN_AREA % len(AREAS)]
    gas, newest = area == GAS_AREA, month_number(LAST_MONTH)
    spacing = float(random.choice([150.0, 185.0, 220.0, 260.0]))
    lateral = float(np.clip(_spread(random, 4200.0, 8600.0), 3000.0, 10500.0))
    return InventedWell(
        name=f"W-{k + 1:03d}",
        area=area,
        pad=f"{area} {pad + 1}",
        gas=gas,
        first=newest - int(random.integers(36, 133)),
        peak=_spread(random, 4500.0, 14000.0) if gas else _spread(random, 330.0, 1050.0),
        decline_per_year=_spread(random, 1.1, 2.4),
        b=float(random.uniform(0.75, 1.25)),
        uptime=float(random.uniform(0.86, 0.97)),
        second_ratio=(0.012, 0.004)
        if gas
        else (float(random.uniform(0.8, 1.6)), float(random.uniform(1.8, 3.4))),
        water=0.03 if gas else float(random.uniform(0.4, 2.2)),
        idle=int(random.integers(4, 15)) if random.random() < 0.06 else 0,
        sleeves=round(lateral / spacing),
        toe_ft=round(float(random.uniform(9200.0, 11200.0)) + lateral),
        spacing_ft=spacing,
        cemented=bool(random.random() < 0.6),
    )


def _row(well: InventedWell, random: Generator) -> list[object]:
    working = float(random.choice([1.0, 1.0, 0.9, 0.75, 0.6]))
    lateral = well.spacing_ft * well.sleeves
    reach = well.toe_ft + 400.0 if random.random() < 0.85 else well.toe_ft - round(0.15 * lateral)
    sticky = random.random() < 0.2
    strong = random.random() < 0.25
    fixed = round(float(random.uniform(5500.0, 13500.0)), -2)
    return [
        well.name,
        well.area,
        well.pad,
        f"{working:g}",
        f"{working * float(random.choice([0.78, 0.8, 0.8125])):.4g}",
        f"{reach:.0f}",
        f"{well.toe_ft:.0f}",
        f"{lateral:.0f}",
        f"{round(float(random.uniform(600.0, 1700.0)), -1):.0f}",
        f"{fixed:.0f}",
        f"{random.uniform(0.6, 1.8):.2f}",
        '{ dist = "beta", alpha = 17, beta = 3 }' if sticky else "",
        "0.32" if strong else "",
        "1.15" if strong else "",
    ]


def _history(well: InventedWell, random: Generator) -> list[list[object]]:
    """Ramp-up, lingering noise, downtime, and where the well is idle, its last months at zero."""
    count = month_number(LAST_MONTH) - well.first + 1
    days = np.diff(_month_edges(well.first, count))
    share = np.clip(random.normal(well.uptime, 0.04, count), 0.4, 1.0)
    share[0] = 0.55
    share[random.random(count) < 0.02] *= 0.3
    if well.idle:
        share[-well.idle :] = 0.0
    days_on = np.round(share * days, 1)
    noise = np.zeros(count)
    for k in range(1, count):
        noise[k] = 0.6 * noise[k - 1] + random.normal(0.0, 0.05)
    ramp = np.ones(count)
    ramp[:3] = (0.45, 0.8, 0.97)
    slots = np.array([[well.peak], [well.decline_per_year], [well.b], [0.08]])
    produced = np.concatenate([[0.0], np.cumsum(days_on)])
    main = np.diff(cumulative("modified_hyperbolic", slots, produced)[0]) * ramp * np.exp(noise)
    done = np.cumsum(main) / main.sum()
    start, end = well.second_ratio
    second = main * (start + (end - start) * done) * np.exp(random.normal(0.0, 0.04, count))
    water = main * well.water * (1.0 - 0.4 * done) * np.exp(random.normal(0.0, 0.07, count))
    oil, gas = (second, main) if well.gas else (main, second)
    return [
        [
            well.name,
            f"{month_text(well.first + k)}-01",
            round(oil[k]),
            round(gas[k]),
            round(water[k]),
            f"{days_on[k]:g}",
        ]
        for k in range(count)
    ]


def _month_edges(first: int, count: int) -> Array:
    """Days at the edges of calendar months, from any origin."""
    months = np.datetime64(month_text(first), "M") + np.arange(count + 1)
    return np.asarray(months.astype("datetime64[D]").astype(np.int64), dtype=np.float64)


def _sleeves(well: InventedWell, random: Generator) -> list[list[object]]:
    """From the toe up; sleeves lie near their even spacing, few are not open."""
    installed = month_text(well.first)
    rows: list[list[object]] = []
    for number in range(1, well.sleeves + 1):
        depth = well.toe_ft - 80.0 - well.spacing_ft * (number - 1 + float(random.uniform(-0.1, 0.1)))
        state, at = "open", random.random()
        if at < 0.012:
            state = ("leaking", "closed", "stuck_open")[int(at * 250.0)]
        isolation = "cement" if well.cemented else "packer"
        shifts = 1 if state == "open" else 3
        dated = installed if state == "open" else "2024-05"
        rows.append([well.name, number, round(depth), isolation, dated, state, shifts, installed])
    return rows
