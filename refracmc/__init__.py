"""refracmc: Monte Carlo refrac economics for wells with coiled-tubing-shifted sleeves.

The public names below are loaded on first use, so that importing the package costs nothing.
Results are screening: not a reserves statement and not investment advice.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_PUBLIC = {
    "Fault": "refracmc.errors",
    "InputError": "refracmc.errors",
    "RunFailure": "refracmc.errors",
    "load_case": "refracmc.case.load",
    "write_starter": "refracmc.case.starter",
    "check_case": "refracmc.commands.check",
    "run_case": "refracmc.commands.run",
    "plan_job": "refracmc.commands.job",
    "trace_trial": "refracmc.commands.trace",
    "run_difference": "refracmc.commands.difference",
    "read_values": "refracmc.engine.store",
    "fit_decline": "refracmc.production.fit",
}

__all__ = [*sorted(_PUBLIC), "__version__"]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'refracmc' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
