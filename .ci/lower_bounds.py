"""Print pyproject's dependencies pinned to their lower bounds, one requirement a line.

The lower environment runs the tests and nothing else. So of the extra `test` only the runner is pinned; the linter,
the type checker and the type stubs are of no use at the old versions (the stubs of scipy ask for a newer scipy than
the package does). The old wheels exist for Python 3.11 and 3.12 only: on a newer Python this prints nothing and says
so on standard error.
"""

import re
import sys
import tomllib
from pathlib import Path

NEWEST_PYTHON_WITH_OLD_WHEELS = (3, 12)
RUNNER = {"pytest", "pytest-xdist", "hypothesis"}
REQUIREMENT = re.compile(r"^\s*([A-Za-z0-9._-]+)\s*>=\s*([0-9][0-9A-Za-z.]*)\s*(;.*)?$")


def pinned(requirement: str) -> tuple[str, str]:
    """Name and exact pin of `name>=version`; anything else is an error: no bound is left out unseen."""
    found = REQUIREMENT.match(requirement)
    if found is None:
        raise SystemExit(f"pyproject.toml: {requirement!r} has no plain lower bound; write name>=version")
    name, version, _ = found.groups()
    return name, f"{name}=={version}"


def main() -> int:
    if sys.version_info[:2] > NEWEST_PYTHON_WITH_OLD_WHEELS:
        print("the lower bounds have no wheels for this Python: not tested here", file=sys.stderr)
        return 0
    text = Path(__file__).parents[1].joinpath("pyproject.toml").read_text("utf-8")
    project = tomllib.loads(text)["project"]
    extras = project["optional-dependencies"]
    pins = [pinned(line)[1] for line in project["dependencies"]]
    tests = dict(pinned(line) for line in extras["test"])
    missing = RUNNER - tests.keys()
    if missing:
        raise SystemExit(f"pyproject.toml: the extra 'test' lacks {sorted(missing)}")
    print("\n".join(pins + [tests[name] for name in sorted(RUNNER)]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
