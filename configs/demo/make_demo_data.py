"""Makes the demo's history.csv, sleeves.csv and prices.csv, all invented: no real field, well or price.

    python configs/demo/make_demo_data.py [DIR]

writes the three files into DIR (default: beside this script), the same bytes every time. Every number below
is an assumption. Rates are per producing day, volumes per calendar month, depths measured depth.
"""

from __future__ import annotations

import calendar
import csv
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

LAST_MONTH = (2026, 9)
SEED = 20261101


@dataclass(frozen=True)
class Well:
    """An invented well: how it declined, what went wrong, how its sleeves lie."""

    name: str
    first: tuple[int, int]  # month of first production
    peak_bbl_per_d: float
    decline_per_year: float  # nominal, at the peak
    b: float
    terminal_per_year: float
    uptime: float
    gor_start_mcf_per_bbl: float
    gor_end_mcf_per_bbl: float
    wor_start: float
    wor_end: float
    sleeves: int
    toe_ft: float  # depth of sleeve 1
    spacing_ft: float
    isolation: str
    shut_in: tuple[int, ...]  # months after first production with declared zeros
    undeclared: tuple[int, ...]  # months with no row at all
    curtailed: tuple[int, ...]  # months with few days on
    states: dict[int, str]  # sleeves that are not open
    shifts: dict[int, int]  # shifts on record beyond the first opening


WELLS = (
    Well(
        name="MH-1",
        first=(2019, 4),
        peak_bbl_per_d=940.0,
        decline_per_year=1.55,
        b=1.10,
        terminal_per_year=0.08,
        uptime=0.95,
        gor_start_mcf_per_bbl=1.1,
        gor_end_mcf_per_bbl=1.9,
        wor_start=1.6,
        wor_end=0.6,
        sleeves=40,
        toe_ft=17_850.0,
        spacing_ft=185.0,
        isolation="cement",
        shut_in=(13, 14, 52),
        undeclared=(),
        curtailed=(30, 31),
        states={},
        shifts={},
    ),
    Well(
        name="MH-2",
        first=(2017, 11),
        peak_bbl_per_d=720.0,
        decline_per_year=2.10,
        b=0.85,
        terminal_per_year=0.09,
        uptime=0.91,
        gor_start_mcf_per_bbl=1.4,
        gor_end_mcf_per_bbl=3.2,
        wor_start=2.4,
        wor_end=1.5,
        sleeves=24,
        toe_ft=16_400.0,
        spacing_ft=260.0,
        isolation="packer",
        shut_in=(29, 30, 31, 76),
        undeclared=(58, 59),
        curtailed=(44, 90),
        states={9: "closed", 17: "leaking"},
        shifts={9: 3, 17: 4, 18: 2},
    ),
    Well(
        name="MH-3",
        first=(2020, 8),
        peak_bbl_per_d=850.0,
        decline_per_year=1.80,
        b=1.00,
        terminal_per_year=0.08,
        uptime=0.94,
        gor_start_mcf_per_bbl=1.2,
        gor_end_mcf_per_bbl=2.3,
        wor_start=2.0,
        wor_end=0.9,
        sleeves=60,
        toe_ft=18_900.0,
        spacing_ft=140.0,
        isolation="cement",
        shut_in=(22,),
        undeclared=(),
        curtailed=(40,),
        states={47: "stuck_open"},
        shifts={47: 3},
    ),
)


def months(first: tuple[int, int], last: tuple[int, int]) -> list[tuple[int, int]]:
    """Every (year, month) from first to last."""
    start, end = first[0] * 12 + first[1] - 1, last[0] * 12 + last[1] - 1
    return [(k // 12, k % 12 + 1) for k in range(start, end + 1)]


def cumulative(well: Well, days: np.ndarray) -> np.ndarray:
    """Volume [bbl] after producing days: modified hyperbolic, exponential below its terminal decline."""
    q, d, b, end = (
        well.peak_bbl_per_d,
        well.decline_per_year / 365.25,
        well.b,
        well.terminal_per_year / 365.25,
    )
    switch = (d / end - 1.0) / (b * d)
    early = np.minimum(days, switch)
    if abs(b - 1.0) < 1e-9:
        volume = q / d * np.log1p(d * early)
    else:
        volume = q / (d * (1.0 - b)) * (1.0 - (1.0 + b * d * early) ** (1.0 - 1.0 / b))
    late = q * (1.0 + b * d * switch) ** (-1.0 / b)
    return volume + late / end * -np.expm1(-end * np.maximum(days - switch, 0.0))


def history(well: Well, rng: np.random.Generator) -> list[list[object]]:
    """Rows of the history file: ramp-up, lingering noise, downtime, zeros, months without a row."""
    calendar_months = months(well.first, LAST_MONTH)
    length = np.array([calendar.monthrange(*month)[1] for month in calendar_months], dtype=float)
    share = np.clip(rng.normal(well.uptime, 0.04, len(length)), 0.5, 1.0)
    share[list(well.curtailed)] = rng.uniform(0.2, 0.45, len(well.curtailed))
    share[list(well.shut_in)] = 0.0
    share[0] = 0.55
    days_on = np.round(share * length, 1)
    ends = np.concatenate([[0.0], np.cumsum(days_on)])
    noise = np.zeros(len(length))
    for k in range(1, len(noise)):
        noise[k] = 0.6 * noise[k - 1] + rng.normal(0.0, 0.05)
    ramp = np.ones(len(length))
    ramp[:3] = (0.45, 0.8, 0.97)
    oil = np.diff(cumulative(well, ends)) * ramp * np.exp(noise)
    done = np.cumsum(oil) / oil.sum()
    gor = well.gor_start_mcf_per_bbl + (well.gor_end_mcf_per_bbl - well.gor_start_mcf_per_bbl) * done
    wor = well.wor_start + (well.wor_end - well.wor_start) * np.minimum(1.0, done / 0.6)
    gas = oil * gor * np.exp(rng.normal(0.0, 0.04, len(oil)))
    water = oil * wor * np.exp(rng.normal(0.0, 0.07, len(oil)))
    return [
        [well.name, f"{year}-{month:02d}-01", round(oil[k]), round(gas[k]), round(water[k]), days_on[k]]
        for k, (year, month) in enumerate(calendar_months)
        if k not in well.undeclared
    ]


def sleeves(well: Well, rng: np.random.Generator) -> list[list[object]]:
    """Rows of the tally, from the toe up; sleeves lie near their even spacing."""
    rows: list[list[object]] = []
    installed = f"{well.first[0]}-{well.first[1]:02d}"
    for number in range(1, well.sleeves + 1):
        depth = well.toe_ft - well.spacing_ft * (number - 1) + rng.uniform(-0.1, 0.1) * well.spacing_ft
        state = well.states.get(number, "open")
        dated = "2024-05" if number in well.shifts else installed
        shifts = well.shifts.get(number, 1)
        rows.append([well.name, number, round(depth), well.isolation, dated, state, shifts, installed])
    return rows


def prices() -> list[list[object]]:
    """Rows of the deck: real prices easing to a level."""
    rows: list[list[object]] = []
    for k, (year, month) in enumerate(months((2026, 10), (2031, 12))):
        ease = float(np.exp(-k / 18.0))
        rows.append([f"{year}-{month:02d}", f"{66.0 + 4.0 * ease:.2f}", f"{3.30 - 0.25 * ease:.2f}"])
    return rows


def write(path: Path, header: str, rows: list[list[object]]) -> None:
    """A CSV file with one header line."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header.split(","))
        writer.writerows(rows)


def main(folder: Path) -> None:
    """Write the three files."""
    streams = [np.random.default_rng([SEED, k]) for k in range(2 * len(WELLS))]
    produced = [row for k, well in enumerate(WELLS) for row in history(well, streams[2 * k])]
    tally = [row for k, well in enumerate(WELLS) for row in sleeves(well, streams[2 * k + 1])]
    write(folder / "history.csv", "well_id,date,oil_bbl,gas_mcf,water_bbl,days_on", produced)
    columns = "well_id,sleeve,depth_ft,isolation_above,state_date,state,shifts,installed"
    write(folder / "sleeves.csv", columns, tally)
    write(folder / "prices.csv", "month,oil_usd_per_bbl,gas_usd_per_mcf", prices())


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
