"""README.md against the source: what it names exists, and what exists it names.

Oracle: the source itself, and what the commands of the README really write when they are run in their order in an
empty folder. Negative controls: the same checks on texts with a name removed or added must fail.
"""

import inspect
import json
import re
import shlex
import shutil
import subprocess
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any, get_args

import pandas as pd
import pytest

import refracmc
from refracmc import cli
from tests.system import readme_tables as read

TEXT = read.README.read_text("utf-8")
NOTES = (read.ROOT / "DEVELOPERS.md").read_text("utf-8")
TRIALS = 192
RARE = "casing_failure_chance = 0.05\nclosed_leak_chance = 0.1"
"""Rules that are off unless asked for: asked for here, so that their names come up."""

TRIGGER = """[strategies.triggers.late]
when = "date"
earliest = "2027-02"
latest = "2027-05"
"""
PRESSURE = (
    "[job.pressure]\ntrue_vertical_depth_ft = 9000\n"
    "[job.reach]\ntrue_vertical_depth_ft = 9000\nextended_reach_pull_lbf = 20000\n"
)
METHODS = (
    TRIGGER
    + PRESSURE
    + "\n".join(f"[strategies.methods.{name}]" for name in ("bullhead", "straddle", "liner"))
)


def refrac_lines() -> list[list[str]]:
    """Every call of refracmc in the README's shell blocks, as words."""
    lines = [line for block in read.blocks(TEXT, "bash") for line in block.splitlines()]
    calls = [part.strip() for line in lines for part in line.split("&&")]
    return [shlex.split(call) for call in calls if call.startswith("refracmc ")]


def change(case: Path, pattern: str, text: str) -> None:
    whole, count = re.subn(pattern, text, case.read_text("utf-8"), count=1)
    assert count == 1
    case.write_text(whole, "utf-8")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The folder in which the README's commands were run, in their order, without the demo's case."""
    folder = tmp_path_factory.mktemp("documents")
    patch = pytest.MonkeyPatch()
    patch.chdir(folder)
    for call in refrac_lines():
        call = [word for word in call if "configs/demo" not in word]
        if call == ["refracmc", "run"] or ("--scheduler" in call and find_spec("distributed") is None):
            continue
        assert cli.main(call[1:]) == cli.DONE, call
        if call[1] == "new":
            case = folder / call[2] / "case.toml"
            change(case, r"trials = \d+", f"trials = {TRIALS}")
            change(case, "charts = true", "charts = false")
            change(case, "max_tries = 3", f"max_tries = 3\n{RARE}")
            change(case, r"\[outputs\]", f"{METHODS}\n[outputs]")
    change(folder / "mywell" / "case.toml", "charts = false", "charts = true")
    assert cli.main(["run", "mywell/case.toml", "--out", "kept", "--keep-trials", "--quiet"]) == cli.DONE
    yield folder
    patch.undo()


def test_made_tables_are_current() -> None:
    assert set(read.marks(TEXT)) == set(read.MADE)
    assert read.filled(TEXT) == TEXT, "run: python -m tests.system.readme_tables"


@pytest.mark.parametrize("name", ["response.uplift", "exceedance_percent", "lognormal"])
def test_an_outdated_made_table_is_seen(name: str) -> None:
    """Negative control: a line of a made table that names something is taken out."""
    word = name.rpartition(".")[2]
    line = next(line for line in TEXT.splitlines() if re.match(rf"\| `?{word}`?[ |\\]", line))
    altered = TEXT.replace(line + "\n", "")
    assert altered != TEXT
    assert read.filled(altered) == TEXT


def test_measures() -> None:
    from refracmc.measures import SUMMARY_MEASURES, units

    told = {re.findall(r"`(\w+)`", row[0])[0]: row[1] for row in read.rows(read.part(TEXT, "Measures"))}
    assert tuple(told) == SUMMARY_MEASURES
    for name, unit in told.items():
        pair = {units("oil")[name], units("gas")[name]}
        assert set(unit.split(" or ")) == pair, name


def test_columns_of_the_trials(made: Path) -> None:
    from refracmc.case.uncertain_inputs import variable_names

    folder = made / "kept" / "starter"
    results = list(pd.read_parquet(folder / "results.parquet").columns)
    told = [row[0].strip("`") for row in read.rows(read.part(TEXT, "results.parquet"))]
    assert told == results
    inputs = list(pd.read_parquet(folder / "inputs.parquet").columns)
    told = read.names(read.part(TEXT, "inputs.parquet"))
    assert sorted(told) == sorted(set(inputs) - set(variable_names()))
    summary = pd.read_csv(folder / "summary.csv")
    assert set(summary["measure"]) == set(read.names(read.part(TEXT, "Measures")))


def test_tables_of_other_commands(made: Path) -> None:
    """Every table that stands below its file's name in bold: the columns of the file, in their order."""
    found = re.findall(
        r"^\*\*`([\w<>-]+\.csv)`\*\*(?:.+\n)+\n((?:\|.*\n)+)", read.part(TEXT, "Commands"), re.MULTILINE
    )
    told = {
        re.sub(r"<\w+>", "*", name): [row[0].strip("`") for row in read.rows(table)] for name, table in found
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
    from refracmc.reporting.charts import CHARTS
    from refracmc.reporting.tables import TABLES

    names = "|".join(re.escape(kind.key) for kind in CHARTS)
    parts = {"<table>": "|".join(set(TABLES) - {"summary"}), "<chart>": names, "<well>": "W-1"}
    parts |= {"<number>": r"\d{4}", "<block>": r"\d{5}"}
    patterns = []
    for name in read.names(read.part(TEXT, "What a run writes").partition("### ")[0]):
        pieces = re.split(r"(<\w+>)", name)
        patterns.append("".join(f"({parts[p]})" if p in parts else re.escape(p) for p in pieces))
    folder = made / "kept" / "starter"
    files = [path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()]
    assert not [name for name in files if not any(re.fullmatch(pattern, name) for pattern in patterns)]
    assert not [pattern for pattern in patterns if not any(re.fullmatch(pattern, name) for name in files)]
    told = read.part(TEXT, "What a run writes")
    assert all(kind.key in told for kind in CHARTS)


def test_files_of_a_job(made: Path) -> None:
    """The README names every file of the command, and no other; every table of the job is a made one."""
    from refracmc.reporting.job_columns import JOB_TABLES

    refracmc.plan_job(made / "mywell" / "case.toml", trials=64, out=made / "drawn")
    folder = made / "drawn" / "starter" / "job" / "W-1"
    orders = set(pd.read_csv(folder / "job_steps.csv")["order"])
    told = read.names(read.part(TEXT, "Tables and charts of a job"))
    tables = {name.removesuffix(".csv") for name in told if name.endswith(".csv")}
    charts = {
        name.removesuffix(".png").replace("<order>", order)
        for name in told
        if name.endswith(".png")
        for order in orders
    }
    files = {path.name for path in folder.iterdir()}
    assert {f"{name}{end}" for name in tables for end in (".csv", ".parquet")} <= files
    drawn = {name.rpartition(".")[0] for name in files if name.endswith((".png", ".svg"))}
    assert drawn <= charts
    kinds = {name.partition("-")[0] for name in drawn}
    assert kinds == {name.partition("-")[0] for name in charts}
    assert files == {
        *(f"{name}{end}" for name in tables for end in (".csv", ".parquet")),
        *(f"{name}{end}" for name in drawn for end in (".png", ".svg")),
    }
    for key, spec in JOB_TABLES.items():
        assert tuple(pd.read_csv(folder / f"{key}.csv").columns) == spec.names
        assert tuple(pd.read_parquet(folder / f"{key}.parquet").columns) == spec.names


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


@pytest.mark.parametrize("what", ["Keys of job", "Keys of trace", "manifest.json"])
def test_keys_of_json(made: Path, what: str) -> None:
    found = set(read.paths_of(content_of(made, what)))
    told = read.names(read.part(TEXT, what))
    assert read.differences(told, found) == ([], [])
    assert read.differences([*told, "host.nonsense"], found)[0] == ["host.nonsense"]
    leaf = next(name for name in told if name in found and not name.endswith("[]") and "." in name)
    if not any(path.startswith((f"{leaf}.", f"{leaf}[")) for path in found):
        assert read.differences([name for name in told if name != leaf], found)[1] == [leaf]


def test_names_inside_json(made: Path) -> None:
    from refracmc.case.uncertain_inputs import variable_names
    from refracmc.commands.trace import plan_of
    from refracmc.engine.draws import group_names
    from refracmc.job.cost import COST_PARTS
    from refracmc.measures import KEPT_MEASURES, PER_TRIAL

    trace = content_of(made, "Keys of trace")
    assert tuple(read.names(read.part(TEXT, "Cost parts"))) == COST_PARTS == tuple(trace["job"]["cost_usd"])
    assert tuple(trace["measures"]) == PER_TRIAL
    told = read.part(TEXT, "Keys of trace").partition("\nNames in `luck`")[2]
    plan = plan_of(refracmc.load_case(made / "mywell" / "case.toml"), "W-1")
    scalars = set(read.names(read.part(TEXT, "inputs.parquet")))
    luck = set(group_names(plan)) - set(variable_names()) - scalars
    assert set(re.findall(r"`(luck\.\w+|prices\.shock\w+)`", told)) == luck
    assert set(trace["luck"]) <= luck
    manifest = content_of(made, "manifest.json")
    assert manifest["run"]["blocks"]["measures"] == list(KEPT_MEASURES)
    identity = json.loads((made / "kept" / "starter" / "identity.json").read_text("utf-8"))
    line = read.part(TEXT, "manifest.json").partition("`identity.json` holds")[2]
    assert set(re.findall(r"`(\w+)`", line)) == set(identity)
    job = content_of(made, "Keys of job")
    actions = {s["action"] for w in job["wells"] for o in w["orders"] for s in o["steps"]}
    actions |= {step["action"] for step in trace["job"]["steps"]}
    words = set(re.findall(r"\w+", "".join(line for line in TEXT.splitlines() if "action`" in line)))
    assert actions <= words, actions - words


def test_columns_of_the_data_files() -> None:
    from refracmc.case import deck_file, history_file, tally_file

    def told(heading: str) -> set[str]:
        return set(read.names(read.part(TEXT, heading)))

    volumes = {name for twins, _, _ in history_file._VOLUMES for name in twins}
    assert told("History") == volumes | {"well_id", "date", "days_on"}
    assert all(f'"{name}"' in inspect.getsource(history_file) for name in told("History"))
    tally = {name for twins in tally_file._REQUIRED for name in twins} | {
        "installed",
        "well_id",
        *tally_file.SHARES,
    }
    states = set(tally_file.STATES)
    assert told("Sleeve tally") == tally | states
    assert all(f"`{name}`" in read.part(TEXT, "Sleeve tally") for name in tally_file.ISOLATIONS)
    assert all(f'"{name}"' in inspect.getsource(deck_file) for name in told("Price deck"))
    assert len(told("Price deck")) == 6


def test_counts_in_the_limits() -> None:
    from refracmc.decisions.gather import DRIVER_BLOCKS, FAN_BLOCKS
    from refracmc.engine.draws import GROUPS
    from refracmc.sampling.streams import BLOCK_SIZE

    limits = " ".join(read.part(TEXT, "Limits of the model").split())
    assert len(GROUPS) == 5
    assert f"five groups of inputs from {DRIVER_BLOCKS} x {BLOCK_SIZE} trials" in limits
    assert f"first {FAN_BLOCKS * BLOCK_SIZE:,} trials" in limits


def test_keys_outside_the_made_tables() -> None:
    from refracmc.case.load import HEAD_KEYS
    from refracmc.case.load_well import OVERRIDES, OWN, WELL_KEYS
    from refracmc.case.strategies import Trigger
    from refracmc.job.orders import NAMED_ORDERS
    from refracmc.job.planner import CLOSE_POLICIES, RECLOSE_HABITS
    from refracmc.production.uplift import RECORDS

    assert set(re.findall(r'named = "(\w+)"', TEXT)) == set(RECORDS)
    head = read.part(TEXT, "The case file").partition("### ")[0]
    assert tuple(read.names(head)) == HEAD_KEYS
    wells = read.part(TEXT, "[[wells]]")
    assert {*read.names(wells), *OWN, *OVERRIDES} == set(WELL_KEYS)
    assert all(f"`{name}`" in wells for name in (*OWN, *OVERRIDES))
    strategies = read.part(TEXT, "Strategies")
    assert tuple(read.names(strategies))[: len(NAMED_ORDERS)] == NAMED_ORDERS
    for value in get_args(Trigger.model_fields["when"].annotation):
        assert f'| `"{value}"` |' in strategies
    for value in (*CLOSE_POLICIES, *RECLOSE_HABITS, "accept", "patch", "skip", "perforate"):
        assert f"| `{value}` |" in strategies


def test_commands_and_options_are_those_of_the_parser() -> None:
    parser = cli._parser()
    told = read.part(TEXT, "Commands")
    action = next(a for a in parser._actions if a.dest == "command")
    assert isinstance(action.choices, dict)
    assert [n.split()[1] for n in read.names(told) if n.startswith("refracmc ")] == list(action.choices)
    options: dict[str, set[str]] = {}
    for name, command in {"refracmc": parser, **action.choices}.items():
        for each in command._actions:
            for option in each.option_strings:
                if option.startswith("--") and option != "--help":
                    options.setdefault(option, set()).add(name)
    rows = [row for row in read.rows(told) if row[0].startswith("`--")]
    assert {row[0].strip("`").split()[0]: set(row[1].split(", ")) for row in rows} == options
    codes = {row[0] for row in read.rows(told) if row[0].isdigit()}
    assert codes == {str(code) for code in (cli.DONE, cli.FAILED, cli.BAD_INPUT)}


def test_commands_parse() -> None:
    calls = refrac_lines()
    assert {call[1] for call in calls} == set(cli._COMMANDS)
    for call in calls:
        cli._parser().parse_args(call[1:])
    for block in [*read.blocks(TEXT, "bash"), *read.blocks(NOTES, "bash")]:
        subprocess.run(["bash", "-n", "-c", block], check=True)
    with pytest.raises(SystemExit):
        cli._parser().parse_args(["run", "case.toml", "--nonsense"])


def test_second_command_is_what_ci_runs() -> None:
    script = (read.ROOT / ".ci" / "run").read_text("utf-8")
    second = read.blocks(TEXT, "bash")[1]
    for name in ("install", "tests"):
        found = re.search(rf'^{name}="(.*)"$', script, re.MULTILINE)
        assert found is not None
        assert found[1] in second


def test_python_of_the_readme_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    for block in read.blocks(TEXT, "python"):
        exec(compile(block, "README.md", "exec"), {})
    said = capsys.readouterr().out
    assert "(4, 13, 512)" in said
    table = {row[0]: row[1] for row in read.rows(read.part(TEXT, "Python"))}
    assert {name for cell in table for name in re.findall(r"`(\w+)`", cell)} == set(refracmc.__all__)
    for cell, text in table.items():
        name = re.findall(r"`(\w+)`", cell)[0]
        if text.startswith(f"`{name}("):
            signature = str(inspect.signature(getattr(refracmc, name)))
            bare = re.sub(r"(\w+): [^,=)]+?( = |(?=[,)]))", lambda f: f[1] + ("=" if f[2] else ""), signature)
            assert text.split("`")[1] == name + re.sub(r" -> .*", "", bare).replace("'", '"'), name
    shutil.rmtree(tmp_path / "try_it")


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_links_lead_somewhere(name: str) -> None:
    text = (read.ROOT / name).read_text("utf-8")
    headings = re.findall(r"^#+ (.+)$", re.sub(r"```.*?```", "", text, flags=re.DOTALL), re.MULTILINE)
    anchors = {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in headings}
    links = re.findall(r"\]\(([^)]+)\)", text)
    for link in links:
        assert link[1:] in anchors if link.startswith("#") else (read.ROOT / link).exists(), link
    paths = re.findall(r"`((?:refracmc|tests|configs|benchmarks|\.ci)/[\w./-]+)`", text)
    assert not [path for path in paths if not (read.ROOT / path).exists()]
    assert not re.findall(r"(?:/root|/tmp|/home|/work)\b", text)


def test_picture_is_small() -> None:
    picture = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", TEXT)
    assert len(picture) == 1
    assert 10_000 < (read.ROOT / picture[0]).stat().st_size < 150_000
