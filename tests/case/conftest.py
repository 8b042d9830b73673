"""A small sound case to break: one folder, two wells, every file short."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from refracmc.case.load import load_case
from refracmc.errors import Fault, InputError

CASE = """
schema_version = 1
name = "small"
data_status = "invented"
[sampling]
trials = 1000
[valuation]
date = "2026-10"
horizon_months = 240
[prices]
deck_file = "prices.csv"
[job]
close_chance = 0.9
[job.cost]
mobilisation_usd = 200000
[response]
uplift = { dist = "lognormal", p90 = 0.2, p10 = 1.0 }
[dependence]
pairs = [{ a = "response.uplift", b = "response.decline_per_year", rank_correlation = 0.3 }]
[strategies]
orders = ["toe_to_heel", "mine"]
dates = ["2027-01", "2028-01"]
[strategies.custom_orders]
mine = [1, 3, 2]
[[wells]]
id = "A"
history = "history.csv"
tally = "sleeves.csv"
[wells.interests]
working = 0.9
net_revenue = 0.7
[wells.completion]
toe_md_ft = 12000
[[wells]]
id = "B"
history = "history.csv"
tally = "sleeves.csv"
"""
TALLY = "well_id,sleeve,depth_ft,isolation_above,state_date,state,shifts,installed\n" + "".join(
    f"{well},{k},{11_500 - 200 * k},cement,2024-05,open,1,2020-01\n" for well in "AB" for k in range(1, 6)
)
PRICES = "month,oil_usd_per_bbl,gas_usd_per_mcf\n2026-09,70,3\n2026-10,69,3.1\n2026-11,68,3.2\n"
Broken = Callable[..., tuple[Fault, ...]]


def history_text() -> str:
    """Two wells, 30 months each to 2026-09, falling."""
    lines = ["well_id,date,oil_bbl,gas_mcf,water_bbl,days_on"]
    for well in "AB":
        for k in range(30):
            month = 2024 * 12 + 3 + k
            date = f"{month // 12}-{month % 12 + 1:02d}-01"
            lines.append(f"{well},{date},{round(9000 * 0.95**k)},{round(9900 * 0.96**k)},{4000 - 50 * k},28")
    return "\n".join(lines) + "\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The sound case on disk."""
    for name, text in (
        ("case.toml", CASE),
        ("history.csv", history_text()),
        ("sleeves.csv", TALLY),
        ("prices.csv", PRICES),
    ):
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


@pytest.fixture
def edit(folder: Path) -> Callable[[str, str, str], None]:
    """Replace one text in one file; it must be there."""

    def change(file: str, old: str, new: str) -> None:
        path = folder / file
        text = path.read_text(encoding="utf-8")
        assert old in text, f"{old!r} is not in {file}"
        path.write_text(text.replace(old, new, 1), encoding="utf-8")

    return change


@pytest.fixture
def broken(folder: Path) -> Callable[[], tuple[Fault, ...]]:
    """The faults the case is refused with, or those of the wells it refuses."""

    def faults() -> tuple[Fault, ...]:
        try:
            case = load_case(folder / "case.toml")
        except InputError as error:
            return error.faults
        return tuple(fault for well in case.refused.values() for fault in well)

    return faults
