"""A small invented case for runs from end to end: two wells (a history, a type curve), three blocks, quick."""

import contextlib
import io
import subprocess
import sys
from pathlib import Path

from refracmc import cli

TRIALS = 1100
CASE = """schema_version = 1
name = "small"
title = "two invented wells"
data_status = "invented"
[sampling]
trials = 1100
seed = 5
[valuation]
date = "2026-10"
horizon_months = 72
[prices]
model = "mean_reverting"
deck_file = "prices.csv"
oil_annual_volatility = 0.3
gas_annual_volatility = 0.4
oil_reversion_per_year = 0.5
gas_reversion_per_year = 1.0
oil_gas_correlation = 0.3
[job]
close_chance = { dist = "beta", alpha = 18, beta = 2 }
open_chance = 0.95
reclose_chance = 0.9
reopen_chance = 0.93
stuck_ct_chance = 0.03
trip_chance_per_stage = 0.05
screenout_chance = 0.06
[job.cost]
mobilisation_usd = 200000
[response]
uplift = { dist = "lognormal", p90 = 0.25, p10 = 1.0 }
[dependence]
pairs = [{ a = "response.uplift", b = "response.decline_per_year", rank_correlation = 0.3 }]
[strategies]
orders = ["toe_to_heel", "mine"]
dates = ["2027-01", "2028-04"]
[strategies.custom_orders]
mine = [1, 3, 2]
[[wells]]
id = "A"
history = "history.csv"
tally = "sleeves.csv"
main_phase = "oil"
[wells.interests]
working = 0.9
net_revenue = 0.7
[wells.completion]
toe_md_ft = 12000
[[wells]]
id = "B"
tally = "sleeves.csv"
main_phase = "oil"
forecast = "type_curve"
[wells.type_curve]
initial_rate_per_d = { dist = "lognormal", p90 = 500, p10 = 1100 }
initial_decline_per_year = { dist = "uniform", low = 0.9, high = 2.5 }
b = { dist = "uniform", low = 0.4, high = 1.2 }
first_production = "2022-02"
peak_rate_per_d = { dist = "lognormal", p90 = 450, p10 = 1000 }
gas_ratio = 1.4
water_ratio = 1.1
"""
TALLY = "well_id,sleeve,depth_ft,isolation_above,state_date,state,shifts,installed\n" + "".join(
    f"{well},{k},{11_500 - 200 * k},{isolation},2024-05,open,1,2020-01\n"
    for well, isolation in (("A", "cement"), ("B", "packer"))
    for k in range(1, 9)
)
PRICES = "month,oil_usd_per_bbl,gas_usd_per_mcf\n2026-09,70,3\n2026-10,69,3.1\n2026-11,68,3.2\n"
BLOCKS = 3


def history_text(wells: str = "A", months: int = 48, last: tuple[int, int] = (2026, 9)) -> str:
    """Monthly volumes to the last month, falling."""
    lines = ["well_id,date,oil_bbl,gas_mcf,water_bbl,days_on"]
    end = last[0] * 12 + last[1] - 1
    for well in wells:
        for k in range(months):
            month = end - months + 1 + k
            wave = 1.0 + 0.03 * ((7 * k) % 5 - 2)
            oil = 21000.0 / (1.0 + 0.09 * k) ** 1.1 * wave
            date = f"{month // 12}-{month % 12 + 1:02d}-01"
            lines.append(f"{well},{date},{oil:.0f},{1.4 * oil:.0f},{0.9 * oil:.0f},28")
    return "\n".join(lines) + "\n"


def write_case(folder: Path, text: str = CASE, **files: str) -> Path:
    """Write the case (or a changed one) with its files into a folder; the path of the case file."""
    folder.mkdir(parents=True, exist_ok=True)
    named = {"history": history_text(), "sleeves": TALLY, "prices": PRICES, **files}
    for name, content in named.items():
        (folder / f"{name}.csv").write_text(content, "utf-8")
    path = folder / "case.toml"
    path.write_text(text, "utf-8")
    return path


def changed(text: str, *pairs: tuple[str, str]) -> str:
    """The text with each old part, which must be there, replaced by its new one."""
    for old, new in pairs:
        assert old in text, f"{old!r} is not in the case"
        text = text.replace(old, new, 1)
    return text


def refracmc(*arguments: object) -> subprocess.CompletedProcess[str]:
    """The command line in this process, with its exit code and what it said."""
    said, errors, words = io.StringIO(), io.StringIO(), [*map(str, arguments)]
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(errors):
        code = cli.main(words)
    return subprocess.CompletedProcess(words, code, said.getvalue(), errors.getvalue())


def refracmc_process(*arguments: object, timeout: float = 120.0) -> subprocess.CompletedProcess[str]:
    """The command line in a process of its own."""
    command = [sys.executable, "-m", "refracmc", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=timeout, check=False)


def run_bytes(folder: Path) -> dict[str, bytes]:
    """Every file of a run by path inside it, but manifest.json."""
    files = sorted(path for path in folder.rglob("*") if path.is_file() and path.name != "manifest.json")
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}
