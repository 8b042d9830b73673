"""The shape of the house, read from the source: direction of imports, no hidden randomness, light start.

Oracle: the rules of the house as DEVELOPERS.md states them. Every rule is also run on a small source that
breaks it (the negative control), so that a rule that has stopped seeing anything fails.
"""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "refracmc"

# From the bottom up; a module imports from its own layer or a lower one.
LAYERS = {
    "errors": 0,
    "interrupts": 0,
    "input_file": 0,
    "csv_text": 0,
    "whole_file": 0,
    "compiler": 0,
    "measures": 0,
    "sampling": 1,
    "production": 2,
    "job": 3,
    "economics": 4,
    "case": 5,
    "engine": 6,
    "decisions": 7,
    "portfolio": 7,
    "reporting": 8,
    "reference": 9,
    "commands": 10,
    "arguments": 11,
    "cli": 11,
    "__main__": 12,
    "__init__": 12,
}
# Arrays in, arrays out: these know neither the samplers nor each other.
CORE = ("production", "job", "economics")
HEAVY = ("numpy", "pandas", "scipy", "matplotlib", "pyarrow", "SALib", "pydantic", "numba", "dask")
LONGEST_FILE = 350
# The fit samples a posterior: it is handed a seed and keys its own generator by it; nothing else of the core is.
SEEDED = ("refracmc.production.fit", "refracmc.production.sampler")
RANDOM_TYPES = {"Generator", "SeedSequence", "PCG64", "BitGenerator", "default_rng"}

# A unit, or the word that says a number has none.
UNIT = re.compile(
    r"bbl|Mcf|stb|\bft\b|\(in\)|\binch|\bpsi\b|\blb\b|US\$|\$|\busd\b"
    r"|\bdays?\b|\bhours?\b|\bmonths?\b|\byears?\b"
    r"|\bfractions?\b|\bshares?\b|\bratios?\b|\bchances?\b|\bprobabilit|\blogit|\bpercent"
    r"|\bcounts?\b|\bnumber of\b|\bsleeve numbers?\b|\bdimensionless\b|\bno units?\b|\b(?:same )?units? of\b",
    re.IGNORECASE,
)


def sources(folder: Path = PACKAGE) -> list[Path]:
    return sorted(folder.rglob("*.py"))


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" and len(parts) > 2 else parts)


def imported(tree: ast.AST, module: str, is_package: bool) -> Iterator[tuple[int, str]]:
    """Every import of a file, at any depth of it: (line, absolute dotted name with the imported name)."""
    here = module.split(".") if is_package else module.split(".")[:-1]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            base = here[: len(here) - node.level + 1] if node.level else []
            stem = ".".join(base + (node.module.split(".") if node.module else []))
            for alias in node.names:
                yield node.lineno, f"{stem}.{alias.name}"
        elif isinstance(node, ast.Call) and dotted(node.func).endswith("import_module"):
            for argument in node.args[:1]:
                if isinstance(argument, ast.Constant) and isinstance(argument.value, str):
                    yield node.lineno, argument.value


def dotted(node: ast.AST) -> str:
    if isinstance(node, ast.Attribute):
        return f"{dotted(node.value)}.{node.attr}"
    return node.id if isinstance(node, ast.Name) else ""


def layer_of(name: str) -> str | None:
    parts = name.split(".")
    if parts[0] != "refracmc":
        return None
    return parts[1] if len(parts) > 1 and parts[1] in LAYERS else "__init__"


def upward_imports(tree: ast.AST, module: str, is_package: bool) -> list[str]:
    own = layer_of(module)
    assert own is not None
    wrong: list[str] = []
    if own == "__init__":
        return wrong
    for line, name in imported(tree, module, is_package):
        other = layer_of(name)
        if other is None or name == "refracmc.__version__":
            continue
        sideways = own in CORE and other in (*CORE, "sampling") and other != own
        if LAYERS[other] > LAYERS[own] or sideways:
            wrong.append(f"{module}:{line} imports {name}")
    return wrong


def hidden_randomness(tree: ast.AST, module: str, is_package: bool = False) -> list[str]:
    """Uses of a global random state, a generator without a seed, or (in the core) of any generator at all."""
    core = layer_of(module) in CORE and module not in SEEDED
    wrong = []
    for line, name in imported(tree, module, is_package):
        if name == "random" or name.startswith("random.") or name.split(".")[0] in ("secrets", "uuid"):
            wrong.append(f"{module}:{line} imports {name}")
        if name.startswith("numpy.random"):
            leaf = name.removeprefix("numpy.random").lstrip(".")
            if core or (leaf and leaf not in RANDOM_TYPES):
                wrong.append(f"{module}:{line} imports {name}")
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute):
            name = dotted(node)
            if re.fullmatch(r"(np|numpy)\.random\.\w+", name) and (
                core or name.rsplit(".", 1)[1] not in RANDOM_TYPES
            ):
                wrong.append(f"{module}:{node.lineno} uses {name}")
        if isinstance(node, ast.Call):
            name = dotted(node.func)
            if name.rsplit(".", 1)[-1] in ("default_rng", "SeedSequence", "PCG64") and not (
                node.args or node.keywords
            ):
                wrong.append(f"{module}:{node.lineno} calls {name}() without a seed")
    return wrong


def without_units(tree: ast.Module, where: str) -> list[str]:
    wrong = []
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
            continue
        text = ast.get_docstring(node)
        if not text:
            wrong.append(f"{where}:{node.lineno} {node.name} has no docstring")
        elif not UNIT.search(text):
            wrong.append(f"{where}:{node.lineno} {node.name} names no unit")
    return wrong


def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"), str(path))


def test_imports_run_downward() -> None:
    files = sources()
    assert len(files) > 10
    wrong: list[str] = []
    for path in files:
        wrong += upward_imports(parsed(path), module_name(path), path.name == "__init__.py")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("refracmc.sampling.designs", "from refracmc.engine import plan"),
        ("refracmc.sampling.designs", "from ..production import decline"),
        ("refracmc.job.planner", "from refracmc.sampling.streams import generator"),
        ("refracmc.economics.limits", "def f():\n    import refracmc.production.decline"),
        ("refracmc.engine.plan", "import importlib\nx = importlib.import_module('refracmc.cli')"),
        ("refracmc.case.load", "from refracmc import engine"),
    ],
)
def test_an_upward_import_is_seen(module: str, source: str) -> None:
    assert upward_imports(ast.parse(source), module, False)


def test_no_hidden_randomness() -> None:
    wrong: list[str] = []
    for path in sources():
        wrong += hidden_randomness(parsed(path), module_name(path), path.name == "__init__.py")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("refracmc.engine.plan", "import numpy as np\nx = np.random.normal(3)"),
        ("refracmc.engine.plan", "import numpy as np\nnp.random.seed(3)"),
        ("refracmc.engine.plan", "import random"),
        ("refracmc.sampling.streams", "from numpy.random import default_rng\nr = default_rng()"),
        ("refracmc.sampling.streams", "from numpy.random import rand"),
        ("refracmc.job.rules", "import numpy as np\nr = np.random.default_rng(4)"),
        ("refracmc.production.decline", "from numpy.random import Generator"),
        ("refracmc.production.fit", "import numpy as np\nr = np.random.default_rng()"),
    ],
)
def test_hidden_randomness_is_seen(module: str, source: str) -> None:
    assert hidden_randomness(ast.parse(source), module)


def heavy_after(code: str) -> set[str]:
    """The heavy packages in sys.modules after `code` ran in a fresh interpreter."""
    probe = f"{code}\nimport sys\nprint('LOADED', *sorted(m for m in sys.modules if '.' not in m))"
    out = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, check=True, cwd=ROOT, timeout=60
    )
    loaded = next(line for line in out.stdout.splitlines()[::-1] if line.startswith("LOADED"))
    return set(loaded.split()) & set(HEAVY)


def test_import_loads_nothing_heavy() -> None:
    assert heavy_after("import refracmc") == set()


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nsys.argv = ['refracmc', '--help']\nfrom refracmc.cli import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code, end.code"
    )
    assert heavy_after(code) == set()


def test_check_loads_no_tables_and_no_charts() -> None:
    case = (ROOT / "configs" / "demo" / "case.toml").as_posix()
    loaded = heavy_after(f"from refracmc.commands.check import check_case\ncheck_case({case!r})")
    assert loaded & {"pandas", "pyarrow", "matplotlib", "numba"} == set()
    assert "numpy" in loaded  # control: the case was read


def test_what_a_run_imports_at_its_start_and_for_its_tables() -> None:
    """Tables are loaded while workers evaluate blocks, charts only for a case that asks for them."""
    assert heavy_after("import refracmc.commands.run") & {"pandas", "pyarrow", "matplotlib", "numba"} == set()
    outputs = "import refracmc.commands.case_outputs"
    assert "matplotlib" not in heavy_after(outputs)
    assert "matplotlib" in heavy_after(f"{outputs}\nimport refracmc.reporting.charts")  # control


def test_a_heavy_import_is_seen() -> None:
    assert heavy_after("import numpy") == {"numpy"}


def test_long_files_have_their_reason() -> None:
    notes = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    wrong = []
    folders = [ROOT / name for name in ("refracmc", "tests", "benchmarks", "configs", ".ci")]
    for path in [path for folder in folders for path in sources(folder)]:
        lines = len(path.read_text("utf-8").splitlines())
        name = path.relative_to(ROOT).as_posix()
        if lines > LONGEST_FILE and not reason_given(name, notes):
            wrong.append(f"{name} has {lines} lines and DEVELOPERS.md gives no reason")
    assert not wrong, "\n".join(wrong)


def reason_given(name: str, notes: str) -> bool:
    """A line of the notes names the file and says something beside it: at least four words."""
    return any(name in line and len(line.replace(name, "").split()) >= 4 for line in notes.splitlines())


def test_a_name_alone_is_no_reason() -> None:
    assert not reason_given("refracmc/a.py", "- `refracmc/a.py`")
    assert reason_given("refracmc/a.py", "- `refracmc/a.py`: one kernel, its passes share buffers")


@pytest.mark.parametrize("folder", CORE)
def test_public_functions_carry_units(folder: str) -> None:
    files = sources(PACKAGE / folder)
    assert len(files) > 1
    wrong = [found for path in files for found in without_units(parsed(path), module_name(path))]
    assert not wrong, "\n".join(wrong)


def test_a_docstring_without_a_unit_is_seen() -> None:
    assert without_units(ast.parse('def rate(t):\n    """Rate at time t."""'), "x")
    assert without_units(ast.parse("def rate(t): ..."), "x")
    assert not without_units(ast.parse('def rate(t):\n    """Rate (bbl/d) at t (days)."""'), "x")
