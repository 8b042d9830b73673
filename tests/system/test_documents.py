"""README.md and DEVELOPERS.md against the program: commands, files, functions and numbers they name are there.

Oracle: the source itself. Negative controls: names and arguments that do not exist.
"""

import importlib
import inspect
import re
import subprocess
from pathlib import Path

import pytest

from refracmc import cli
from refracmc.reference.topics import FOLDER, NAMES
from tests.system import reading
from tests.system.reading import NOTES, README, ROOT


def test_sizes() -> None:
    """What is read first stays short enough to be read: the reference is printed, not kept here."""
    assert len(README.encode()) < 14_000
    assert len(NOTES.encode()) < 20_500


def test_commands_parse() -> None:
    calls = [call for text in (README, *map(reading.topic_text, NAMES)) for call in reading.calls(text)]
    assert {call[1] for call in calls} == set(cli._COMMANDS)
    for call in calls:
        cli.command_line().parse_args(call[1:])
    for block in [*reading.fenced(README, "bash"), *reading.fenced(NOTES, "bash")]:
        subprocess.run(["bash", "-n", "-c", block], check=True)
    with pytest.raises(SystemExit):
        cli.command_line().parse_args(["run", "case.toml", "--nonsense"])


def test_what_the_texts_ask_explain_is_told() -> None:
    """Every `refracmc explain WORD` of the texts names something there is."""
    texts = [README, NOTES, *(reading.topic_text(name) for name in NAMES)]
    words = {word for text in texts for word in re.findall(r"refracmc explain ([\w.\[\]]+)", text)}
    assert {"data", "limits", "python"} <= words
    for word in words - {"TOPIC", "KEY"}:
        assert reading.reference().find([word]), word


def test_second_command_is_what_ci_runs() -> None:
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    second = reading.fenced(README, "bash")[1]
    for name in ("install", "tests"):
        found = re.search(rf'^{name}="(.*)"$', script, re.MULTILINE)
        assert found is not None
        assert found[1] in second


def missing_functions(text: str) -> list[str]:
    """Functions named as `folder.module.function` that are not there, or do not say what they do."""
    missing = []
    for module, name in re.findall(
        r"`((?:production|economics|sampling|decisions|portfolio|job)\.\w+)\.(\w+)`", text
    ):
        function = getattr(importlib.import_module(f"refracmc.{module}"), name, None)
        if not callable(function) or not inspect.getdoc(function):
            missing.append(f"{module}.{name}")
    return missing


def test_published_checks_name_their_functions() -> None:
    table = NOTES.partition("### Published checks")[2].partition("\n## ")[0]
    assert not missing_functions(table)
    told = {
        check
        for row in re.findall(r"^\| (.*?) \|", table, re.MULTILINE)
        for check in re.findall(r"\b[A-Z]\d\b", row)
    }
    needed = {
        f"{k}{n}"
        for k, count in (("D", 5), ("M", 4), ("S", 4), ("G", 4), ("P", 3))
        for n in range(1, count + 1)
    }
    assert needed | {"R4"} <= told
    assert missing_functions("`production.decline.nonsense`") == ["production.decline.nonsense"]


TEXTS = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    ROOT / "configs/demo/README.md",
    *sorted(FOLDER.glob("*.md")),
]


@pytest.mark.parametrize("file", TEXTS, ids=lambda file: str(file.relative_to(ROOT)))
def test_files_and_links_lead_somewhere(file: Path) -> None:
    text = file.read_text("utf-8")
    heads = re.findall(r"^#+ (.+)$", re.sub(r"```.*?```", "", text, flags=re.DOTALL), re.MULTILINE)
    anchors = {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in heads}
    for link in re.findall(r"\]\(([^)]+)\)", text):
        assert link[1:] in anchors if link.startswith("#") else (ROOT / link).exists(), link
    paths = re.findall(r"`((?:refracmc|tests|configs|benchmarks|\.ci)/[\w./-]+)`", text)
    assert not [path for path in paths if not (ROOT / path).exists()]
    assert not re.findall(r"(?:/root|/tmp|/home|/work)\b", text)


def test_picture_is_small() -> None:
    picture = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)
    assert len(picture) == 1
    assert 10_000 < (ROOT / picture[0]).stat().st_size < 150_000
