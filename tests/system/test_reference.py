"""The texts of the reference against the program: what they name exists, and what exists they name.

Oracle: the source itself, and what the commands of the README really write when they are run in their order in an
empty folder. Negative controls: the same checks with a name removed or added must fail.
"""

import json
import re
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any, get_args

import pandas as pd
import pytest

import refracmc
from refracmc import cli
from refracmc.case.table_columns import twins
from refracmc.reference.from_source import _bare
from refracmc.reference.text import names_in
from refracmc.reference.topics import FOLDER, NAMES
from tests.system import reading
from tests.system.reading import README, change

TRIALS = 192
RARE = "casing_failure_chance = 0.05\nclosed_leak_chance = 0.1"
"""Rules that are off unless asked for: asked for here, so that their names come up."""
MORE = """[strategies.triggers.late]
when = "date"
earliest = "2027-02"
latest = "2027-05"
[job.pressure]
true_vertical_depth_ft = 9000
[job.reach]
true_vertical_depth_ft = 9000
extended_reach_pull_lbf = 20000
[strategies.methods.bullhead]
[strategies.methods.straddle]
[strategies.methods.liner]
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The folder in which the commands of README and reference were run, in their order, but those in configs/."""
    folder = tmp_path_factory.mktemp("documents")
    patch = pytest.MonkeyPatch()
    patch.chdir(folder)
    for call in [*reading.calls(README), *reading.calls(reading.topic_text("cluster"))]:
        if any(word.startswith(("configs/", "outputs/demo")) for word in call) or (
            "--scheduler" in call and not find_spec("distributed")
        ):
            continue
        few = [word if word != "1000" else str(TRIALS) for word in call[1:]]
        assert cli.main(few) == cli.DONE, call
        if call[1] == "new" and "--count" not in call:
            case = folder / call[2] / "case.toml"
            change(case, r"trials = \d+", f"trials = {TRIALS}")
            change(case, "charts = true", "charts = false")
            change(case, "max_tries = 3", f"max_tries = 3\n{RARE}")
            change(case, r"\[outputs\]", f"{MORE}\n[outputs]")
            change(case, r"\[wells.completion\]", "[wells.offset_wells]\nrate_per_d = 40\n[wells.completion]")
    change(folder / "mywell" / "case.toml", "charts = false", "charts = true")
    assert cli.main(["run", "mywell/case.toml", "--out", "kept", "--keep-trials", "--quiet"]) == cli.DONE
    yield folder
    patch.undo()


def test_every_topic_has_its_file() -> None:
    assert {file.stem for file in FOLDER.glob("*.md")} == set(NAMES)


def test_measures(made: Path) -> None:
    summary = pd.read_csv(made / "kept" / "starter" / "summary.csv")
    told = {row[0].strip("`"): row[1] for row in reading.rows("measures")}
    assert list(dict.fromkeys(summary["measure"])) == list(told)
    for name, unit in zip(summary["measure"], summary["unit"], strict=True):
        assert unit in re.split(" or ", told[name]), name


def test_columns_of_the_trials(made: Path) -> None:
    from refracmc.case.uncertain_inputs import variable_names

    folder = made / "kept" / "starter"
    results = list(pd.read_parquet(folder / "results.parquet").columns)
    assert reading.names("trials", "results.parquet") == results
    inputs = list(pd.read_parquet(folder / "inputs.parquet").columns)
    assert sorted(reading.names("trials", "inputs.parquet")) == sorted(set(inputs) - set(variable_names()))


def test_tables_of_other_commands(made: Path) -> None:
    """Every table that stands below its file's name: the columns of the file, in their order."""
    told = {
        re.sub(r"<\w+>", "*", head): reading.names(topic, head)
        for topic in ("search_files", "forecast_files", "hindcast_files")
        for head in reading.headings(topic)
    }
    written = {
        path
        for path in (made / "outputs").rglob("*.csv")
        if path.parent.name in ("orders", "forecasts", "hindcast")
    }
    for pattern, columns in told.items():
        (file,) = (path for path in written if path.match(pattern))
        assert list(pd.read_csv(file).columns) == columns, file.name
        written.remove(file)
    assert [path.name for path in written] == ["hindcast_baseline.csv"]
    assert list(pd.read_csv(written.pop()).columns) == told["hindcast.csv"]


def test_files_of_a_run(made: Path) -> None:
    from refracmc.reporting.columns import TABLES

    charts = reading.names("charts")
    parts = {"<table>": "|".join(set(TABLES) - {"summary"}), "<chart>": "|".join(charts), "<well>": "W-1"}
    parts |= {"<number>": r"\d{4}", "<block>": r"\d{5}"}
    patterns = []
    for name in reading.names("run_files"):
        pieces = re.split(r"(<\w+>)", name)
        patterns.append("".join(f"({parts[p]})" if p in parts else re.escape(p) for p in pieces))
    folder = made / "kept" / "starter"
    files = [path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()]
    assert not [name for name in files if not any(re.fullmatch(pattern, name) for pattern in patterns)]
    assert not [pattern for pattern in patterns if not any(re.fullmatch(pattern, name) for name in files)]


def test_files_of_a_job(made: Path) -> None:
    """The reference names every file of the command, and no other; the job's own tables have the columns printed."""
    refracmc.plan_job(made / "mywell" / "case.toml", trials=64, out=made / "drawn")
    folder = made / "drawn" / "starter" / "job" / "W-1"
    orders = set(pd.read_csv(folder / "job_steps.csv")["order"])
    told = [name for row in reading.rows("job_files") for name in re.findall(r"`([\w<>-]+\.\w+)`", row[0])]
    tables = {name.removesuffix(".csv") for name in told if name.endswith(".csv")}
    charts = {
        name.removesuffix(".png").replace("<order>", order)
        for name in told
        if name.endswith(".png")
        for order in orders
    }
    files = {path.name for path in folder.iterdir()}
    drawn = {name.rpartition(".")[0] for name in files if name.endswith((".png", ".svg"))}
    assert drawn <= charts
    assert {name.partition("-")[0] for name in drawn} == {name.partition("-")[0] for name in charts}
    assert files == {
        *(f"{name}{end}" for name in tables for end in (".csv", ".parquet")),
        *(f"{name}{end}" for name in drawn for end in (".png", ".svg")),
    }
    for table in ("job_steps", "job_strategies", "job_cost", "job_percentiles"):
        columns = reading.names("job_files", table)
        assert list(pd.read_csv(folder / f"{table}.csv").columns) == columns
        assert list(pd.read_parquet(folder / f"{table}.parquet").columns) == columns


def test_a_job_says_which_sleeves_the_tubing_does_not_reach(tmp_path: Path) -> None:
    refracmc.write_starter(tmp_path)
    case, reach = tmp_path / "case.toml", 15_300.0
    beyond = int((pd.read_csv(tmp_path / "sleeves.csv", comment="#")["depth_ft"] > reach).sum())
    text = case.read_text("utf-8").replace("ct_reach_ft = 18000", f"ct_reach_ft = {reach:g}")
    text = text.replace('orders = ["toe_to_heel", "alternating", "every_second"]', 'orders = ["toe_to_heel"]')
    text = text[: text.index("[strategies.custom_orders]")] + text[text.index("[outputs]") :]
    case.write_text(text, "utf-8")
    job = refracmc.plan_job(case, trials=16)
    well = job.content["wells"][0]
    assert 0 < beyond == well["sleeves_beyond_reach"] == well["sleeves"] - well["orders"][0]["stages"]
    assert f"{beyond} of them beyond the reach" in job.text().splitlines()[0]


def content_of(made: Path, what: str) -> Any:
    case = made / "mywell" / "case.toml"
    if what == "Keys of job":
        return refracmc.plan_job(case).content
    if what == "Keys of trace":
        return refracmc.trace_trial(case, well="W-1", strategy="alternating@2027-07", trial=3).content
    return json.loads((made / "kept" / "starter" / "manifest.json").read_text("utf-8"))


@pytest.mark.parametrize(
    ("topic", "what"), [("json", "Keys of job"), ("json", "Keys of trace"), ("manifest", None)]
)
def test_keys_of_json(made: Path, topic: str, what: str | None) -> None:
    found = set(reading.paths_of(content_of(made, what or "manifest.json")))
    told = reading.names(topic, what)
    assert reading.differences(told, found) == ([], [])
    assert reading.differences([*told, "host.nonsense"], found)[0] == ["host.nonsense"]
    leaf = next(name for name in told if name in found and not name.endswith("[]") and "." in name)
    if not any(path.startswith((f"{leaf}.", f"{leaf}[")) for path in found):
        assert reading.differences([name for name in told if name != leaf], found)[1] == [leaf]


def test_names_inside_json(made: Path) -> None:
    from refracmc.case.uncertain_inputs import variable_names
    from refracmc.commands.chosen_well import plan_of
    from refracmc.engine.draws import group_names

    trace = content_of(made, "Keys of trace")
    assert reading.names("json", "Cost parts") == list(trace["job"]["cost_usd"])
    assert list(trace["measures"]) == reading.names("trials", "results.parquet")[3:]
    text = reading.topic_text("json")
    plan = plan_of(refracmc.load_case(made / "mywell" / "case.toml"), "W-1")
    scalars = set(reading.names("trials", "inputs.parquet"))
    luck = set(group_names(plan)) - set(variable_names()) - scalars
    told = text.partition("\nNames in `luck`")[2]
    assert set(re.findall(r"`(luck\.\w+|prices\.shock\w+)`", told)) == luck
    assert set(trace["luck"]) <= luck
    identity = json.loads((made / "kept" / "starter" / "identity.json").read_text("utf-8"))
    line = reading.topic_text("manifest").partition("`identity.json` holds")[2]
    assert set(re.findall(r"`(\w+)`", line)) == set(identity)
    job = content_of(made, "Keys of job")
    actions = {s["action"] for w in job["wells"] for o in w["orders"] for s in o["steps"]}
    actions |= {step["action"] for step in trace["job"]["steps"]}
    words = set(re.findall(r"\w+", "".join(line for line in text.splitlines() if "action`" in line)))
    assert actions <= words, actions - words


@pytest.mark.parametrize(
    ("heading", "file"),
    [("History", "history.csv"), ("Sleeve tally", "sleeves.csv"), ("Price deck", "prices.csv")],
)
def test_columns_of_the_data_files(heading: str, file: str, tmp_path: Path) -> None:
    """A column is missed exactly where the reference says that it must be there."""
    case = refracmc.write_starter(tmp_path)[0]
    comments, rows = [], []
    for line in (tmp_path / file).read_text("utf-8").splitlines():
        (comments if line.startswith("#") else rows).append(line)
    table = pd.DataFrame([row.split(",") for row in rows[1:]], columns=rows[0].split(","))
    needed = {
        name: row[2]
        for row in reading.rows("data", heading)
        for name in names_in(row[0])
        if row[2] in ("yes", "no")
    }
    assert set(table.columns) <= set(needed)
    in_si = {twins(name)[1] for name in table.columns if name.endswith(("_bbl", "_mcf", "_ft"))}
    assert in_si <= set(needed)
    assert len(in_si) == {"History": 3, "Sleeve tally": 1, "Price deck": 2}[heading]
    for column in table.columns:
        table.drop(columns=column).to_csv(tmp_path / file, index=False)
        try:
            refused = any(refracmc.check_case(case).refused)
        except refracmc.InputError:
            refused = True
        assert refused == (needed[column] == "yes"), column


def test_words_of_the_tally() -> None:
    from refracmc.case import tally_file
    from refracmc.job.sleeves import ISOLATIONS, STATES

    told = reading.names("data", "Sleeve tally")
    assert {*STATES, *tally_file.SHARES} <= set(told)
    assert all(f"`{name}`" in reading.topic_text("data") for name in ISOLATIONS)


def test_counts_in_the_limits() -> None:
    from refracmc.decisions.drivers import DRIVER_BLOCKS
    from refracmc.decisions.well_tables import FAN_BLOCKS
    from refracmc.engine.draws import GROUPS
    from refracmc.sampling.streams import BLOCK_SIZE

    limits = " ".join(reading.topic_text("limits").split())
    assert len(GROUPS) == 5
    assert f"five groups of inputs from {DRIVER_BLOCKS} x {BLOCK_SIZE} trials" in limits
    assert f"first {FAN_BLOCKS * BLOCK_SIZE:,} trials" in limits


def test_values_a_case_may_name() -> None:
    from refracmc.case.load import HEAD_KEYS
    from refracmc.case.load_well import OVERRIDES, OWN, WELL_KEYS
    from refracmc.case.strategies import Trigger
    from refracmc.job.orders import NAMED_ORDERS
    from refracmc.job.planner import CLOSE_POLICIES, LEAKING_SLEEVES, RECLOSE_HABITS
    from refracmc.production.uplift import RECORDS

    assert reading.names("numbers", "Records") == sorted(RECORDS)
    case = reading.names("case")
    assert tuple(case[: len(HEAD_KEYS)]) == HEAD_KEYS
    assert {*reading.names("case", "[[wells]]"), *OWN, *OVERRIDES} == set(WELL_KEYS)
    assert all(f"`{name}`" in reading.topic_text("case") for name in (*OWN, *OVERRIDES))
    strategies = reading.names("strategies")
    assert tuple(strategies[: len(NAMED_ORDERS)]) == NAMED_ORDERS
    assert tuple(reading.names("triggers")) == get_args(Trigger.model_fields["when"].annotation)
    rules = {row[0] for row in reading.rows("strategies")}
    for key, values in (
        ("close_policy", CLOSE_POLICIES),
        ("reclose_habit", RECLOSE_HABITS),
        ("leaking_sleeve", LEAKING_SLEEVES),
    ):
        assert {f"`{key}` = `{value}`" for value in values} <= rules


def test_exit_codes_are_those_of_the_program() -> None:
    codes = {row[0] for row in reading.rows("commands", "Exit codes")}
    assert codes == {str(code) for code in (cli.DONE, cli.FAILED, cli.BAD_INPUT)}


def test_python_of_the_reference_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (block,) = reading.fenced(reading.topic_text("python"), "python")
    exec(compile(block, "python.md", "exec"), {})
    assert "(4, 13, 512)" in capsys.readouterr().out
    assert reading.names("python") == refracmc.__all__
    assert (
        _bare(refracmc.trace_trial)
        == "(path, *, well, strategy, trial, trials=None, seed=None, scenario=None)"
    )
