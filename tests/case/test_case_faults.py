"""Every fault of the list is refused with the clear error of the house: where, found, allowed, what to do.

Oracle: the house rule on errors and the list of faults, one line of the table each; what is expected was
written from the rule, not from the output.
"""

from __future__ import annotations

import copy
import math
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refracmc.case import load
from refracmc.case.load import load_case
from refracmc.errors import Fault, InputError

Edit = Callable[[str, str, str], None]
Broken = Callable[[], tuple[Fault, ...]]
HEADER = "well_id,date,oil_bbl,gas_mcf,water_bbl,days_on\n"
CHANCE = "close_chance = 0.9"
DATES = 'dates = ["2027-01", "2028-01"]'

# file, old text, new text; then what the fault must say: where, found, allowed or remedy
TABLE: dict[str, tuple[str, str, str, str, str, str]] = {
    "unknown key": (
        "case.toml",
        CHANCE,
        "close_chanse = 0.9",
        "job.close_chanse",
        "unknown key",
        "'close_chance'?",
    ),
    "technical limit above the peak rate": (
        "case.toml",
        "[response]",
        "[response]\ntechnical_limit_bbl_per_d = 5000",
        "response.technical_limit_bbl_per_d",
        "5,000 bbl/d",
        "less than the peak rate",
    ),
    "chance of loss above one": (
        "case.toml",
        "[job]",
        "[decision]\ngreatest_chance_of_loss = 50\n[job]",
        "decision.greatest_chance_of_loss",
        "50",
        "a fraction from 0 to 1",
    ),
    "number too small to be held": (
        "case.toml",
        CHANCE,
        f"{CHANCE}\nwork_hours_per_day = 5e-324",
        "job.work_hours_per_day",
        "4.9",
        "write 0, or a number",
    ),
    "unknown section": ("case.toml", "[job]", "[jobs]", "case.toml: jobs", "unknown key 'jobs'", "'job'?"),
    "key of another section": (
        "case.toml",
        "[sampling]",
        "[sampling]\nuplift = 1",
        "sampling.uplift",
        "unknown",
        "[response]",
    ),
    "unknown key of a well": (
        "case.toml",
        "[wells.interests]",
        "[wells.interest]",
        "wells.A.interest",
        "unknown",
        "'interests'?",
    ),
    "name like an option": (
        "case.toml",
        'name = "small"',
        'name = "-small"',
        "case.toml: name",
        "'-small'",
        "not - first",
    ),
    "bell in the title": (
        "case.toml",
        'name = "small"',
        'name = "small"\ntitle = "a\\u0007"',
        "case.toml: title",
        r"'a\x07'",
        "printable",
    ),
    "absurd money": (
        "case.toml",
        "mobilisation_usd = 200000",
        "mobilisation_usd = 1e300",
        "job.cost.mobilisation_usd",
        "1e+300 US$",
        "at most 1e+12 US$",
    ),
    "endless job": (
        "case.toml",
        CHANCE,
        "days_after_ct = 40000",
        "job.days_after_ct",
        "40000 d",
        "at most 3650 d",
    ),
    "absurd spread": (
        "case.toml",
        "p90 = 0.2, p10 = 1.0",
        "p90 = 0.0001, p10 = 1e5",
        "response.uplift",
        "a lognormal distribution that reaches",
        "at most 1e+12",
    ),
    "absurd volume": (
        "history.csv",
        ",9000,",
        ",9e99,",
        "row 2, oil_bbl",
        "9e99 bbl",
        "at most 1e+09 bbl",
    ),
    "absurd price": ("prices.csv", "69", "1e200", "row 3, oil_usd_per_bbl", "1e200", "at most 1000 US$/bbl"),
    "price above a flat one's": (
        "prices.csv",
        "69",
        "1000.5",
        "oil_usd_per_bbl",
        "1000.5",
        "at most 1000 US$/bbl",
    ),
    "semicolons": (
        "prices.csv",
        "month,oil_usd_per_bbl,gas_usd_per_mcf",
        "month;oil_usd_per_bbl;gas_usd_per_mcf",
        "prices.csv: row 1",
        "stand apart by ';'",
        "commas",
    ),
    "negative chance": ("case.toml", CHANCE, "close_chance = -0.1", "job.close_chance", "-0.1", "above 0"),
    "negative rate": (
        "case.toml",
        "annual_discount_rate",
        "annual_discount_rate",
        "valuation.annual_discount_rate",
        "-0.1 [1/year]",
        "from 0 to 1 [1/year]",
    ),
    "P90 above P10": (
        "case.toml",
        "p90 = 0.2, p10 = 1.0",
        "p90 = 1.2, p10 = 1.0",
        "response.uplift",
        "p90 1.2",
        "P90 is the low one",
    ),
    "not positive definite": (
        "case.toml",
        "pairs = [",
        "pairs = [{a='response.b',b='response.uplift',rank_correlation=0.9},"
        "{a='response.b',b='response.decline_per_year',rank_correlation=-0.9},",
        "dependence.pairs",
        "not positive definite",
        "nearest valid",
    ),
    "missing file": (
        "case.toml",
        '"history.csv"',
        '"histroy.csv"',
        "wells.A.history",
        "no file 'histroy.csv'",
        "'history.csv'?",
    ),
    "directory as file": ("case.toml", '"sleeves.csv"', '"."', "wells.A.tally", "directory", "name the file"),
    "blank file name": ("case.toml", '"sleeves.csv"', '""', "wells.A.tally", "''", "name a file"),
    "doubled month": (
        "history.csv",
        "A,2024-06-01",
        "A,2024-05-01",
        "row 4, date",
        "2024-05 a second",
        "once",
    ),
    "month out of order": (
        "history.csv",
        "A,2024-06-01",
        "A,2024-03-01",
        "row 4, date",
        "2024-03 after 2024-05",
        "sort",
    ),
    "no date": ("history.csv", "A,2024-06-01", "A,June 2024", "row 4, date", "'June 2024'", "YYYY-MM"),
    "month 13": ("history.csv", "A,2024-06-01", "A,2024-13-01", "row 4, date", "'2024-13-01'", "YYYY-MM"),
    "blank date": ("history.csv", "A,2024-06-01", "A,", "row 4, date", "blank", "YYYY-MM"),
    "text in numbers": ("history.csv", ",9000,", ",9k,", "row 2, oil_bbl", "'9k'", "plain number"),
    "negative volume": ("history.csv", ",9000,", ",-9000,", "row 2, oil_bbl", "-9000 bbl", "at least 0 bbl"),
    "infinite volume": ("history.csv", ",9000,", ",inf,", "row 2, oil_bbl", "inf", "finite"),
    "days on above the month": (
        "history.csv",
        ",28\n",
        ",31\n",
        "row 2, days_on",
        "31 d",
        "0 to 30 d in 2024-04",
    ),
    "missing column": ("history.csv", "oil_bbl", "oil_bb", "history.csv", "no column oil_bbl", "'oil_bb'"),
    "doubled header": (
        "history.csv",
        "gas_mcf",
        "oil_bbl",
        "history.csv: row 1",
        "'oil_bbl' twice",
        "remove",
    ),
    "two units": (
        "history.csv",
        "water_bbl",
        "oil_m3",
        "history.csv",
        "oil_bbl and oil_m3",
        "one of the two",
    ),
    "ragged row": ("history.csv", ",9000,", ",9,000,", "history.csv: row 2", "7 cells", "6 cells"),
    "well not in the file": (
        "case.toml",
        'id = "B"',
        'id = "C"',
        "history.csv",
        "no row of well 'C'",
        "A, B",
    ),
    "depths not monotonic": (
        "sleeves.csv",
        "A,3,10900",
        "A,3,11150",
        "row 4, depth_ft",
        "sleeve 3 at 11150 ft, sleeve 2 at 11100 ft",
        "number the sleeves from the toe",
    ),
    "below the toe": ("sleeves.csv", "A,1,11300", "A,1,12300", "row 2, depth_ft", "12300 ft", "toe_md_ft"),
    "doubled sleeve": ("sleeves.csv", "A,3,", "A,4,", "sleeve", "sleeve 4 a second time", "once"),
    "sleeve number gone": ("sleeves.csv", "A,5,", "A,9,", "sleeves.csv", "no sleeve 5", "without gaps"),
    "blank cell": ("sleeves.csv", "A,3,10900", "A,3,", "row 4, depth_ft", "blank cell", "write a number"),
    "unknown state": ("sleeves.csv", "05,open", "05,opne", "row 2, state", "'opne'", "'open'?"),
    "unknown isolation": (
        "sleeves.csv",
        ",cement",
        ",cemnt",
        "row 2, isolation_above",
        "'cemnt'",
        "'cement'?",
    ),
    "half a shift": ("sleeves.csv", "open,1", "open,1.5", "row 2, shifts", "1.5", "whole number"),
    "state in the future": ("sleeves.csv", "2024-05", "2027-05", "row 2, state_date", "2027-05", "2026-10"),
    "state before installation": ("sleeves.csv", "2024-05", "2019-05", "state_date", "2019-05", "after it"),
    "unknown sleeve in an order": (
        "case.toml",
        "[1, 3, 2]",
        "[1, 30, 2]",
        "strategies.custom_orders.mine",
        "sleeve 30",
        "sleeves 1 to 5",
    ),
    "doubled sleeve in an order": (
        "case.toml",
        "[1, 3, 2]",
        "[1, 3, 3]",
        "custom_orders.mine",
        "sleeve 3 more than once",
        "at most once",
    ),
    "uphole rule": (
        "case.toml",
        DATES,
        DATES + '\nreclose_habit = "never"',
        "custom_orders.mine",
        "sleeve 3 would stay open",
        "uphole",
    ),
    "what to do about a leaking sleeve": (
        "case.toml",
        DATES,
        DATES + '\nleaking_sleeve = "patch"',
        "strategies.leaking_sleeve",
        "patch",
        "reseat",
    ),
    "unknown order": (
        "case.toml",
        '"toe_to_heel"',
        '"toe_to_heal"',
        "strategies.orders[1]",
        "toe_to_heal",
        "'toe_to_heel'?",
    ),
    "refrac before the valuation": (
        "case.toml",
        '["2027-01"',
        '["2026-09"',
        "strategies.dates",
        "2026-09",
        "valuation date",
    ),
    "history past the valuation": (
        "case.toml",
        'date = "2026-10"',
        'date = "2026-09"',
        "history.csv",
        "2026-09 as the last month of well A",
        "2026-10 or later",
    ),
    "doubled date": (
        "case.toml",
        '"2028-01"]',
        '"2027-01"]',
        "strategies.dates",
        "2027-01 more than once",
        "once",
    ),
    "horizon too short": (
        "case.toml",
        "horizon_months = 240",
        "horizon_months = 24",
        "strategies.dates",
        "2028-01",
        "raise valuation.horizon_months",
    ),
    "working interest above 1": (
        "case.toml",
        "working = 0.9",
        "working = 1.2",
        "wells.A.interests.working",
        "1.2",
        "up to 1",
    ),
    "net above working": (
        "case.toml",
        "net_revenue = 0.7",
        "net_revenue = 0.95",
        "wells.A.interests.net_revenue",
        "0.95",
        "at most the working interest",
    ),
    "NaN in the deck": ("prices.csv", "69", "NaN", "prices.csv: row 3, oil_usd_per_bbl", "NaN", "US$/bbl"),
    "blank in the deck": ("prices.csv", "69", "", "row 3, oil_usd_per_bbl", "blank", "number"),
    "gap in the deck": (
        "prices.csv",
        "2026-11",
        "2026-12",
        "row 4, month",
        "2026-12 after 2026-10",
        "one by one",
    ),
    "deck starts late": (
        "prices.csv",
        "2026-09,70,3\n2026-10,69,3.1\n",
        "",
        "row 2, month",
        "2026-11",
        "earlier",
    ),
    "no deck": (
        "case.toml",
        'deck_file = "prices.csv"',
        "",
        "prices.oil_usd_per_bbl",
        "neither",
        "deck_file",
    ),
    "unused key": (
        "case.toml",
        "[prices]",
        "[prices]\noil_level = 1.1",
        "prices.oil_level",
        "'deck'",
        "deck_with",
    ),
    "TOML syntax": ("case.toml", "[sampling]", "[sampling", "case.toml", "line 5", "correct that line"),
    "TOML doubled key": ("case.toml", "trials = 1000", "trials = 1\ntrials = 2", "case.toml", "TOML", "once"),
    "truth value as a number": (
        "case.toml",
        CHANCE,
        "close_chance = true",
        "job.close_chance",
        "true",
        "fraction",
    ),
    "truth value as trials": (
        "case.toml",
        "trials = 1000",
        "trials = true",
        "sampling.trials",
        "true",
        "whole",
    ),
    "text as a number": (
        "case.toml",
        "trials = 1000",
        'trials = "9"',
        "sampling.trials",
        "'9'",
        "without quotes",
    ),
    "huge trials": ("case.toml", "trials = 1000", "trials = 1e12", "sampling.trials", "1e+12", "10,000,000"),
    "no trials": ("case.toml", "trials = 1000", "trials = 0", "sampling.trials", "0 trials", "from 2"),
    "half a trial": ("case.toml", "trials = 1000", "trials = 10.5", "sampling.trials", "10.5", "whole"),
    "inf": ("case.toml", CHANCE, "close_chance = inf", "job.close_chance", "inf", "finite"),
    "nan": ("case.toml", CHANCE, "close_chance = nan", "job.close_chance", "nan", "finite"),
    "unbounded chance": (
        "case.toml",
        CHANCE,
        'close_chance = {dist = "normal", mean = 0.9, sd = 0.1}',
        "job.close_chance",
        "-inf",
        "add min = 0",
    ),
    "chance above 1": (
        "case.toml",
        CHANCE,
        'close_chance = {dist = "lognormal", p90 = 0.5, p10 = 0.9}',
        "job.close_chance",
        "inf",
        "add max = 1",
    ),
    "unknown distribution": (
        "case.toml",
        CHANCE,
        'close_chance = {dist = "bta", alpha = 9, beta = 1}',
        "job.close_chance",
        "'bta'",
        "'beta'?",
    ),
    "distribution of a fixed number": (
        "case.toml",
        "[response]",
        '[response]\nshare_log_sd = {dist = "uniform", low = 0, high = 1}',
        "response.share_log_sd",
        "table",
        "must be fixed",
    ),
    "later schema": ("case.toml", "schema_version = 1", "schema_version = 2", "schema_version", "2", "later"),
    "no schema": ("case.toml", "schema_version = 1", "", "schema_version", "missing", "schema_version = 1"),
    "text as schema": (
        "case.toml",
        "schema_version = 1",
        'schema_version = "1"',
        "schema_version",
        "'1'",
        "1",
    ),
    "doubled well": ("case.toml", 'id = "B"', 'id = "a"', "wells[2].id", "'a' a second time", "rename"),
    "letters of an id": (
        "case.toml",
        'id = "B"',
        'id = "Süd, 3"',
        "wells[2].id",
        "'Süd, 3'",
        "of these alone",
    ),
    "line end in an id": ("case.toml", 'id = "B"', 'id = "B\\n"', "wells[2].id", "'B\\n'", "retype it"),
    "blank after an id": ("case.toml", 'id = "B"', 'id = "B "', "wells[2].id", "'B '", "of these alone"),
    "no id": ("case.toml", 'id = "B"\n', "", "wells[2].id", "missing", "id in quotes"),
    "name of the case": (
        "case.toml",
        'name = "small"',
        'name = "a/b"',
        "case.toml: name",
        "'a/b'",
        "letters",
    ),
    "status": ("case.toml", '"invented"', '"inventd"', "data_status", "'inventd'", "'invented'?"),
    "no strategies": ("case.toml", DATES, "", "strategies.dates", "missing", "dates"),
    "real terms escalated": (
        "case.toml",
        "[prices]",
        "annual_cost_escalation = 0.02\n[prices]",
        "valuation.annual_cost_escalation",
        "0.02",
        "nominal",
    ),
    "unknown input": (
        "case.toml",
        '"response.uplift"',
        '"respons.uplift"',
        "dependence.pairs[1].a",
        "respons.uplift",
        "'response.uplift'?",
    ),
    "mixed scopes": (
        "case.toml",
        'b = "response.decline_per_year"',
        'b = "job.cost.trip_usd"',
        "dependence.pairs[1]",
        "job.cost.trip_usd, which all wells share",
        "one scope",
    ),
    "correlation of 1": ("case.toml", "lation = 0.3", "lation = 1", "rank_correlation", "1", "below 1"),
    "neither history nor type curve": (
        "case.toml",
        'history = "history.csv"\n',
        "",
        "wells.A",
        "neither a history",
        "[wells.type_curve]",
    ),
    "no tally": ("case.toml", 'tally = "sleeves.csv"\n', "", "wells.A.tally", "missing", "sleeves.csv"),
    "twice, in two units": (
        "case.toml",
        "toe_md_ft = 12000",
        "toe_md_ft = 12000\ntoe_md_m = 3000",
        "completion.toe_md_m",
        "toe_md_m beside toe_md_ft",
        "remove one",
    ),
    "trigger before the valuation": (
        "case.toml",
        DATES,
        DATES + '\ntriggers = {early = {when = "date", earliest = "2015-01", latest = "2026-10"}}',
        "strategies.triggers.early",
        "from 2015-01 to 2026-10, in which it can never fire",
        "from 2026-11",
    ),
    "trigger after the horizon": (
        "case.toml",
        DATES,
        DATES + '\ntriggers = {far = {when = "date", earliest = "2120-01", latest = "2121-01"}}',
        "strategies.triggers.far",
        "never fire",
        "the end of the horizon",
    ),
    "trigger and its gate at odds": (
        "case.toml",
        DATES,
        DATES + "\ntriggers.t = {when = 'rate_below', rate_per_d = 50, min_rate_per_d = 60, "
        "earliest = '2027-01', latest = '2028-01'}",
        "strategies.triggers.t.min_rate_per_d",
        "60 with rate_per_d = 50",
        "less than rate_per_d",
    ),
    "trigger of no order": (
        "case.toml",
        DATES,
        DATES + "\ntriggers.t = {when = 'date', orders = [], earliest = '2027-01', latest = '2028-01'}",
        "strategies.triggers.t.orders",
        "an empty list",
        "remove the key",
    ),
    "trigger of an order twice": (
        "case.toml",
        DATES,
        DATES + "\ntriggers.t = {when = 'date', orders = ['toe_to_heel', 'toe_to_heel'], "
        "earliest = '2027-01', latest = '2028-01'}",
        "strategies.triggers.t.orders[2]",
        "'toe_to_heel' twice",
        "remove one",
    ),
    "gate no cost can pass": (
        "case.toml",
        DATES,
        DATES
        + "\ntriggers.t = {when = 'date', max_service_index = 0, earliest = '2027-01', latest = '2028-01'}",
        "strategies.triggers.t.max_service_index",
        "0",
        "above 0",
    ),
    "unknown key of a trigger": (
        "case.toml",
        DATES,
        DATES + "\ntriggers.t = {when = 'date', earlest = '2027-01', latest = '2028-01'}",
        "strategies.triggers.t.earlest",
        "unknown key",
        "'earliest'?",
    ),
    "doubled sleeve of a straddle": (
        "case.toml",
        DATES,
        DATES + "\nmethods.straddle.sleeves = [1, 2, 1]",
        "strategies.methods.straddle.sleeves",
        "sleeve 1 more than once",
        "at most once",
    ),
    "year zero": (
        "history.csv",
        "A,2024-04-01",
        "A,0000-01-01",
        "row 2, date",
        "'0000-01-01'",
        "1900 to 2199",
    ),
    "year 9999": (
        "case.toml",
        'date = "2026-10"',
        'date = "9999-10"',
        "valuation.date",
        "9999",
        "1900 to 2199",
    ),
    "well id in another case": (
        "history.csv",
        "A,2024-04",
        "a,2024-04",
        "row 2, well_id",
        "'a'",
        "write 'A'",
    ),
    "row of no well": ("history.csv", "A,2024-04", ",2024-04", "row 2, well_id", "a blank cell", "fill it"),
    "column meant for another": (
        "history.csv",
        "days_on",
        "days",
        "history.csv",
        "'days'",
        "rename it to days_on",
    ),
    "water without its unit": ("history.csv", "water_bbl", "Water", "history.csv", "'Water'", "water_bbl"),
    "empty deck file name": ("case.toml", '"prices.csv"', '""', "prices.deck_file", "''", "name a file"),
    "override out of range": (
        "case.toml",
        "[wells.interests]",
        "[wells.job]\nopen_chance = 3\n[wells.interests]",
        "wells.A.job.open_chance",
        "3",
        "up to 1",
    ),
}
TABLE["finance rate in percent"] = (
    "case.toml",
    "[valuation]",
    "[valuation]\nannual_finance_rate = 7",
    "valuation.annual_finance_rate",
    "7 [1/year]",
    "from 0 to 1 [1/year]",
)
TABLE["negative rate"] = (
    "case.toml",
    "[valuation]",
    "[valuation]\nannual_discount_rate = -0.1",
    *TABLE["negative rate"][3:],
)


@pytest.mark.parametrize("name", TABLE)
def test_fault_says_where_what_and_how(name: str, edit: Edit, broken: Broken) -> None:
    file, old, new, where, found, rest = TABLE[name]
    edit(file, old, new)
    faults = broken()
    fitting = [
        fault
        for fault in faults
        if where in fault.where and found in fault.found and rest in str(fault).split("found", 1)[1]
    ]
    assert fitting, "\n".join(map(str, faults)) or "nothing was found wrong"
    for fault in faults:
        assert all((fault.where, fault.found, fault.allowed, fault.remedy))
        assert "\n" not in str(fault)


ONCE = {
    "doubled custom order": ("case.toml", "mine = [1, 3, 2]", "mine = [1, 1]"),
    "empty custom order": ("case.toml", "mine = [1, 3, 2]", "mine = []"),
    "doubled straddle": ("case.toml", DATES, DATES + "\nmethods.straddle.sleeves = [1, 1]"),
    "empty straddle": ("case.toml", DATES, DATES + "\nmethods.straddle.sleeves = []"),
    "date before the history ends": ("case.toml", '["2027-01"', '["2026-09"'),
    "date and a well's own policy": ("case.toml", DATES, DATES.replace("2027-01", "2026-09")),
    "history without a name": ("case.toml", 'history = "history.csv"', 'history = ""'),
    "hugely negative price": ("prices.csv", "69", "-1e300"),
}


@pytest.mark.parametrize("name", ONCE)
def test_one_slip_is_told_once(name: str, edit: Edit, broken: Broken) -> None:
    """One thing wrong is one fault, though several checks meet it."""
    if "policy" in name:
        edit("case.toml", 'id = "B"', 'id = "B"\nstrategies.close_policy = "needed"')
    edit(*ONCE[name])
    assert len(broken()) == 1, "\n".join(map(str, broken()))


def test_sound_case_has_no_fault(folder: Path) -> None:
    """Negative control of the table: unbroken, nothing is refused."""
    case = load_case(folder / "case.toml")
    assert not case.refused
    assert [well.id for well in case.wells] == ["A", "B"]


@pytest.mark.parametrize(
    ("content", "found"),
    [(HEADER, "no rows"), ("", "empty file"), ("\n\n", "empty file")],
    ids=["header", "0", "nl"],
)
def test_empty_history(folder: Path, broken: Broken, content: str, found: str) -> None:
    (folder / "history.csv").write_text(content)
    faults = broken()
    assert len(faults) == 1
    assert found in faults[0].found


PARQUET: dict[str, tuple[str, Callable[[Any], Any], str]] = {
    "truth values": ("oil_bbl", lambda column: column > 5.0, "'True'"),
    "times": ("oil_bbl", lambda column: column.astype("timedelta64[s]"), "days"),
    "lists": ("oil_bbl", lambda column: [[1.0, 2.0]] * len(column), "'[1. 2.]'"),
    "moved by a time zone": (
        "date",
        lambda column: column.astype("datetime64[s]").dt.tz_localize("UTC").dt.tz_convert("America/Chicago"),
        "2024-03-31 19:00:00-05:00",
    ),
}


@pytest.mark.parametrize("name", PARQUET)
def test_parquet_of_another_type(folder: Path, edit: Edit, broken: Broken, name: str) -> None:
    """The same history as Parquet is read; a column of another type is refused by row."""
    import pandas as pd

    frame = pd.read_csv(folder / "history.csv")
    path = folder / "history.parquet"
    edit("case.toml", '"history.csv"', '"history.parquet"')
    frame.to_parquet(path)
    assert not load_case(folder / "case.toml").refused
    column, change, found = PARQUET[name]
    frame[column] = change(frame[column])
    frame.to_parquet(path)
    faults = broken()
    assert faults[0].where == f"history.parquet: row 1, {column}"
    assert found in faults[0].found


def test_no_wells(folder: Path, broken: Broken) -> None:
    path = folder / "case.toml"
    path.write_text(path.read_text().split("[[wells]]")[0])
    assert [fault.where for fault in broken()] == ["case.toml: wells"]
    path.write_text("wells = []\n" + path.read_text())
    assert "no wells" in broken()[-1].found


def test_three_months_need_a_type_curve(folder: Path, broken: Broken, edit: Edit) -> None:
    rows = (folder / "history.csv").read_text().splitlines()
    short = [row for row in rows if not row.startswith("B,")] + [row for row in rows if row.startswith("B,")][
        -3:
    ]
    (folder / "history.csv").write_text("\n".join(short) + "\n")
    faults = broken()
    assert len(faults) == 1
    assert "3 producing months of well B" in faults[0].found
    assert "type_curve" in faults[0].remedy
    curve = (
        '\nmain_phase = "oil"\n[wells.type_curve]\ninitial_rate_per_d = 500\ninitial_decline_per_year = 1.5\n'
        'b = 1.0\nfirst_production = "2026-07"\npeak_rate_per_d = 480\n'
    )
    path = folder / "case.toml"
    path.write_text(path.read_text() + curve)
    case = load_case(path)
    assert [well.forecast for well in case.wells] == ["history", "type_curve"]


@pytest.mark.parametrize("file", ["case.toml", "history.csv", "sleeves.csv", "prices.csv"])
def test_not_utf8(folder: Path, broken: Broken, file: str) -> None:
    path = folder / file
    path.write_bytes(path.read_bytes().replace(b"\n", b"\n# caf\xe9\n", 1))
    faults = broken()
    assert any("0xe9 in line 2" in fault.found and fault.where.startswith(file) for fault in faults)


@pytest.mark.parametrize("file", ["case.toml", "history.csv", "sleeves.csv", "prices.csv"])
def test_byte_order_mark_is_read(folder: Path, file: str) -> None:
    path = folder / file
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert not load_case(path.parent / "case.toml").refused


def test_case_file_missing_or_a_directory(tmp_path: Path) -> None:
    (tmp_path / "case.toml").mkdir()
    for name, found in (("case.toml", "directory"), ("cas.toml", "no file")):
        with pytest.raises(InputError) as caught:
            load_case(tmp_path / name)
        assert found in caught.value.faults[0].found


def test_all_faults_at_once(edit: Edit, broken: Broken) -> None:
    edit("case.toml", "trials = 1000", "trials = 0\nsede = 3")
    edit("case.toml", CHANCE, "close_chance = 2\nopen_chance = -1")
    edit("case.toml", "working = 0.9", "working = 9")
    edit("history.csv", ",9000,", ",x,")
    edit("sleeves.csv", "A,3,", "A,4,")
    edit("prices.csv", "69", "NaN")
    where = " ".join(fault.where for fault in broken())
    for part in (
        "sampling.trials",
        "sampling.sede",
        "job.close_chance",
        "job.open_chance",
        "interests.working",
        "oil_bbl",
        "sleeves.csv",
        "prices.csv",
    ):
        assert part in where, part


def test_fault_of_one_well_leaves_the_others(edit: Edit, folder: Path) -> None:
    edit("sleeves.csv", "B,3,10900", "B,3,99")
    case = load_case(folder / "case.toml")
    assert [well.id for well in case.wells] == ["A"]
    assert set(case.refused) == {"B"}


def test_shared_fault_is_said_once(edit: Edit, broken: Broken) -> None:
    edit("case.toml", CHANCE, "close_chance = 2")
    edit("case.toml", 'id = "B"', 'id = "B"\n[wells.job]\nmax_tries = 2\n[wells.opex]')
    assert len([fault for fault in broken() if "close_chance" in fault.where]) == 1


def test_error_survives_pickling(edit: Edit, folder: Path) -> None:
    import pickle

    edit("case.toml", "trials = 1000", "trials = 0")
    with pytest.raises(InputError) as caught:
        load_case(folder / "case.toml")
    again = pickle.loads(pickle.dumps(caught.value))
    assert again.faults == caught.value.faults


JUNK: list[Any] = [
    True,
    "x",
    "",
    -1,
    0,
    1e300,
    math.nan,
    math.inf,
    [],
    [[]],
    {},
    {"dist": "normal"},
    {"dist": 3},
]


def _paths(table: Any, prefix: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    items = table.items() if isinstance(table, dict) else enumerate(table) if isinstance(table, list) else ()
    return [path for key, value in items for path in [(*prefix, key), *_paths(value, (*prefix, key))]]


def _load_or_faults(folder: Path) -> tuple[Any, ...]:
    """The wells or the faults; any other exception goes through."""
    try:
        return load_case(folder / "case.toml").wells
    except InputError as error:
        return error.faults


@given(data=st.data())
def test_no_junk_gets_a_traceback(folder: Path, data: st.DataObject) -> None:
    """Any key of the case set to anything: it loads or it is refused with faults, never another exception."""
    sound = tomllib.loads((folder / "case.toml").read_text())
    raw = copy.deepcopy(sound)
    for _ in range(data.draw(st.integers(1, 3))):
        path = data.draw(st.sampled_from(_paths(raw)))
        junk = data.draw(st.sampled_from(JUNK))
        here = raw
        for part in path[:-1]:
            here = here[part]
        here[path[-1]] = copy.deepcopy(junk)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(load, "parse_toml", lambda *_: raw)
        assert _load_or_faults(folder)


@given(data=st.data())
def test_no_damaged_file_gets_a_traceback(folder: Path, data: st.DataObject) -> None:
    """Bytes of any file cut, doubled or replaced: the same."""
    file = data.draw(st.sampled_from(["case.toml", "history.csv", "sleeves.csv", "prices.csv"]))
    path = folder / file
    kept = path.read_bytes()
    start = data.draw(st.integers(0, len(kept) - 1))
    length = data.draw(st.integers(0, 40))
    junk = data.draw(
        st.sampled_from([b"", b",", b"\n", b'"', b"\x00", b"\xff", b"-", b"e9", b"nan", b"1" * 400])
    )
    path.write_bytes(kept[:start] + junk + kept[start + length :])
    try:
        assert _load_or_faults(folder)
    finally:
        path.write_bytes(kept)
