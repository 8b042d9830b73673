"""A trace is the trial of the run, to the last bit, and adds up.

Oracle: the trials that `run --keep-trials` wrote, and sums of the trace's own columns. Both cash kernels.
"""

import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from refracmc.case.load import load_case
from refracmc.commands.chosen_well import plan_of
from refracmc.commands.run import run_case
from refracmc.commands.trace import Trace, trace_content, trace_trial
from refracmc.economics.rate_of_return import IRR_CEILING, TOTAL_LOSS
from refracmc.measures import PER_TRIAL
from tests.system.small_case import CASE, TRIALS, changed, refracmc, write_case

CHARTS_OFF = ("[strategies]", "[outputs]\ncharts = false\n[strategies]")
TAXED = ("[job]", "[fiscal]\n[fiscal.income_tax]\nrate = 0.22\nintangible_fraction = 0.7\n[job]")
STRATEGIES = ("nothing", "toe_to_heel@2027-01", "mine@2028-04")
PICKED = (0, 511, 512, 700, TRIALS - 1)
COLUMNS = (
    "revenue_usd",
    "production_tax_usd",
    "opex_usd",
    "holding_usd",
    "capex_usd",
    "abandonment_usd",
    "income_tax_usd",
    "offset_wells_usd",
)


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory):
    """Plans, and inputs and results of their run by trial."""
    folder = tmp_path_factory.mktemp("trace")
    path = write_case(folder, changed(CASE, CHARTS_OFF, TAXED))
    done = run_case(path, folder / "out", workers=1, keep_trials=True)
    inputs = pd.read_parquet(done.folder / "inputs.parquet")
    results = pd.read_parquet(done.folder / "results.parquet")
    case = load_case(path)
    plans = {well: plan_of(case, well) for well in "AB"}
    return plans, inputs, results


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_case(tmp_path_factory.mktemp("command"))


@pytest.mark.parametrize("well", ["A", "B"])
@pytest.mark.parametrize("strategy", STRATEGIES)
def test_a_trace_is_the_trial(run, well: str, strategy: str) -> None:
    plans, inputs, results = run
    assert list(results.columns) == ["well", "strategy", "trial", *PER_TRIAL]
    rows = results[(results["well"] == well) & (results["strategy"] == strategy)].set_index("trial")
    assert rows.index.tolist() == list(range(TRIALS))
    values = inputs[inputs["well"] == well].drop(columns="well").set_index("trial")
    for trial in PICKED:
        content = json.loads(Trace(trace_content(plans[well], strategy, trial)).json())
        row = rows.loc[trial]
        words = {None: np.nan, "never": np.inf}
        got = {name: words.get(value, value) for name, value in content["measures"].items()}
        assert set(got) == set(PER_TRIAL)
        for name in PER_TRIAL:
            same = got[name] == row[name] or (np.isnan(got[name]) and np.isnan(row[name]))
            assert same, (name, trial, got[name], row[name])
        drawn = values.loc[trial].dropna()
        assert {entry["name"]: entry["value"] for entry in content["inputs"]} == drawn.to_dict()
        units = {entry["name"]: entry["unit"] for entry in content["inputs"]}
        assert units["opex.abandonment_usd"] == "US$ gross"
        assert units["luck.z_well"] == "standard normal"
        assert units["luck.u_event"] == "uniform"


@pytest.mark.parametrize("well", ["A", "B"])
@pytest.mark.parametrize("strategy", STRATEGIES)
def test_a_trace_adds_up(run, well: str, strategy: str) -> None:
    plans, _, _ = run
    for trial in (*PICKED, 33):
        content = trace_content(plans[well], strategy, trial)
        months = pd.DataFrame(content["monthly"])
        assert months["month"].tolist()[:2] == ["2026-10", "2026-11"]
        assert len(months) == 72
        net = months["net_cash_usd"]
        size = months[list(COLUMNS)].abs().sum(axis=1)
        assert ((months[list(COLUMNS)].sum(axis=1) - net).abs() <= 1e-12 * size).all()
        factor = 1.10 ** (-(np.arange(72) + 0.5) / 12.0)
        np.testing.assert_allclose(months["discount_factor"], factor, rtol=1e-13)
        gross = float((size * factor).sum())
        npv = float((net * factor).sum())
        assert npv == pytest.approx(content["measures"]["npv"], abs=1e-11 * gross)
        told = content["reconciliation"]
        assert told["npv_of_run_usd"] == content["measures"]["npv"]
        assert abs(told["difference_usd"]) <= 1e-11 * gross
        steps, job = content["job"]["steps"], content["job"]
        assert sum(step["hours"] for step in steps) == pytest.approx(24.0 * job["days"], rel=1e-12)
        assert job["days"] == content["measures"]["job_days"]
        assert sum(job["cost_usd"].values()) == pytest.approx(content["measures"]["job_cost"], rel=1e-12)
        assert told["job_hours"] == pytest.approx(24.0 * job["days"], rel=1e-12)
        for before, after in pairwise(steps):
            assert after["start_hour"] == pytest.approx(before["start_hour"] + before["hours"], abs=1e-9)
        working = 0.9 if well == "A" else 1.0
        capex = -months["capex_usd"].sum()
        assert capex == pytest.approx(content["measures"]["capex"], rel=1e-12)
        assert capex == pytest.approx(working * content["measures"]["job_cost"], rel=1e-12)
        if strategy == "nothing":
            assert not steps
            assert capex == 0.0


def printed_months(text: str) -> pd.DataFrame:
    """The table of the months as it is printed, a row a month and one of totals."""
    lines = text.splitlines()
    top = next(k for k, line in enumerate(lines) if line.split()[:1] == ["month"])
    end = next(k for k, line in enumerate(lines) if line.split()[:1] == ["total"])
    assert max(len(line) for line in lines) <= 120
    head = lines[top].split()
    rows = [line.replace(",", "").split() for line in lines[top + 1 : end + 1]]
    table = pd.DataFrame([row[1:] for row in rows], columns=head[1:], index=[row[0] for row in rows])
    return table.astype(np.int64)


PARTS = {
    "revenue": "revenue_usd",
    "prod.tax": "production_tax_usd",
    "opex": "opex_usd",
    "holding": "holding_usd",
    "capex": "capex_usd",
    "abandon": "abandonment_usd",
    "inc.tax": "income_tax_usd",
    "offset": "offset_wells_usd",
}
VOLUMES = {"oil": "oil_bbl", "gas": "gas_mcf", "water": "water_bbl"}


@pytest.mark.parametrize("well", ["A", "B"])
@pytest.mark.parametrize("strategy", STRATEGIES)
def test_the_printed_months_add_up(run, well: str, strategy: str) -> None:
    """Oracle: the numbers as printed, along and down, and the content that they are rounded from."""
    for trial in PICKED:
        content = trace_content(run[0][well], strategy, trial)
        table = printed_months(Trace(content).text())
        months, total = table.iloc[:-1], table.loc["total"]
        parts = [name for name in table.columns if name in PARTS]
        assert (table[parts].sum(axis=1) == table["net"]).all()
        assert (months.sum() == total).all()
        exact = pd.DataFrame(content["monthly"]).set_index("month")
        for name, key in {**PARTS, **VOLUMES, "PV": "present_value_usd"}.items():
            whole = table.get(name)
            if whole is None:
                assert not exact[key].any()
                continue
            assert (whole.iloc[:-1] - exact[key].reindex(months.index)).abs().max() <= 1.0 + 1e-6
            assert abs(total[name] - exact[key].sum()) <= 0.5 + 1e-6
        assert not exact.loc[exact.index > months.index[-1], [*PARTS.values(), *VOLUMES.values()]].any(
            axis=None
        )


def test_wide_numbers_keep_to_the_page() -> None:
    """Twelve columns of eight digits and a sign, without their commas; that of offset wells is rare, and left out."""
    names = (*VOLUMES.values(), *PARTS.values(), "present_value_usd")
    values = dict.fromkeys(names, -1234567.8) | {"offset_wells_usd": 0.0}
    content = {
        **dict.fromkeys(("well", "strategy", "trial", "trials", "seed"), ""),
        "inputs": [],
        "job": {"steps": []},
        "measures": {},
        "monthly": [{"month": f"20{k:02d}-01", **values} for k in range(5)],
        "reconciliation": dict.fromkeys(("npv_from_months_usd", "npv_of_run_usd", "difference_usd"), 0.0),
    }
    table = printed_months(Trace(content).text())
    assert len(table.columns) == 12
    assert (
        table.loc["total", "net"]
        == table.loc["total", [name for name in PARTS if name != "offset"]].sum()
        == -7 * 6172839
    )


def test_a_lost_well_keeps_nothing(tmp_path: Path) -> None:
    """Where the well is lost its trace says what the response is given: nothing kept, no effect."""
    lost = ("stuck_ct_chance = 0.03", "stuck_ct_chance = 1.0\nwell_lost_chance_given_stuck = 1.0")
    case = load_case(write_case(tmp_path, changed(CASE, CHARTS_OFF, lost)))
    for strategy, expected in (("toe_to_heel@2027-01", 0.0), ("mine@2028-04", 0.0)):
        content = trace_content(plan_of(case, "B"), strategy, 3)
        told, measures = content["response"], content["measures"]
        assert told["well_lost"]
        assert measures["executed"] == 1.0
        assert told["kept_share"] == told["effective_share"] == measures["effective_share"] == expected
        assert told["old_stream_kept_fraction"] == told["new_rate_per_d"] == 0.0
        assert not any(told["kept_by_sleeve"] + told["effectiveness_by_sleeve"])


def test_the_incremental_cash_is_a_difference_of_two_traces(run) -> None:
    """Undiscounted payout and incremental NPV from the months of the strategy and of doing nothing."""
    plan, paid = run[0]["A"], 0
    for trial in range(0, 40, 5):
        traces = [trace_content(plan, name, trial) for name in ("toe_to_heel@2027-01", "nothing")]
        flows, measures = [pd.DataFrame(trace["monthly"]) for trace in traces], traces[0]["measures"]
        size = sum(flow[list(COLUMNS)].abs().to_numpy().sum() for flow in flows)
        difference = flows[0]["net_cash_usd"] - flows[1]["net_cash_usd"]
        gain = float((difference * flows[0]["discount_factor"]).sum())
        assert gain == pytest.approx(measures["incremental_npv"], abs=1e-11 * size)
        running = difference.cumsum().to_numpy()
        at = np.flatnonzero(running[3:] >= 0.0)  # the job month is the fourth
        if at.size == 0:
            assert measures["payout_months"] == "never"
        elif abs(running[3 + at[0]]) > 1e-6:
            paid += 1
            assert measures["payout_months"] == at[0] + 1
        if measures["irr"] is not None and measures["irr"] > TOTAL_LOSS:
            years = np.arange(72) / 12.0
            at_rate = (difference / (1.0 + measures["irr"]) ** years).sum()
            if measures["irr"] == IRR_CEILING:
                assert at_rate >= 0.0
            else:
                assert abs(at_rate) < 1e-7 * (difference.abs() / (1.0 + measures["irr"]) ** years).sum()
    assert paid >= 3


def refuse_constant(text: str) -> float:
    raise AssertionError(f"{text} is no JSON")


def test_the_command_writes_valid_json(case: Path) -> None:
    for strategy, trial in (("mine@2028-04", TRIALS - 1), ("nothing", 0)):
        done = refracmc("trace", case, "--well", "B", "--strategy", strategy, "--trial", trial, "--json")
        assert done.returncode == 0, done.stderr
        content = json.loads(done.stdout, parse_constant=refuse_constant)
        expected = trace_trial(case, well="B", strategy=strategy, trial=trial)
        assert content == json.loads(expected.json())
        assert (content["measures"]["irr"] is None) == (strategy == "nothing")
        assert expected.text().startswith(f"B  {strategy}  trial {trial} of {TRIALS}")


@pytest.mark.parametrize(
    ("changes", "parts"),
    [
        ({"well": "C"}, ("--well", "'C'", "A, B")),
        ({"strategy": "toe_to_heal@2027-01"}, ("--strategy", "did you mean 'toe_to_heel@2027-01'?")),
        ({"strategy": "toe_to_heel@2027-02"}, ("--strategy", "toe_to_heel@2027-02", "toe_to_heel@2027-01")),
        ({"trial": TRIALS}, ("--trial", f"0 to {TRIALS - 1}")),
    ],
)
def test_what_is_not_there_is_refused(case: Path, changes: dict, parts: tuple[str, ...]) -> None:
    options = {"well": "A", "strategy": "nothing", "trial": 0, **changes}
    done = refracmc("trace", case, *(word for key, value in options.items() for word in (f"--{key}", value)))
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert all(part in line for part in parts), line


def test_fewer_trials_another_seed(case: Path) -> None:
    """`--trials` and `--seed` as given to run: another seed is another trial, more trials are the same one."""
    one = {"well": "B", "strategy": "mine@2028-04", "trial": 40}
    npv = trace_trial(case, **one).content["measures"]["npv"]
    assert trace_trial(case, **one, trials=512).content["measures"]["npv"] == npv
    assert trace_trial(case, **one, seed=6).content["measures"]["npv"] != npv
