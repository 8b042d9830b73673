"""The case's parts under one roof, for those who read a case and do not build one."""

from __future__ import annotations

from refracmc.case.job_section import Job, JobCost
from refracmc.case.model import Case, InputVariable, Settings, WellCase
from refracmc.case.response_section import Response, Stress
from refracmc.case.sections import (
    Completion,
    Dependence,
    Fiscal,
    Fit,
    IncomeTax,
    Interests,
    Opex,
    Outputs,
    Pair,
    Pooling,
    Prices,
    Sampling,
    TypeCurve,
    Valuation,
)
from refracmc.case.strategies import DateSeries, Strategies

__all__ = [
    "Case",
    "Completion",
    "DateSeries",
    "Dependence",
    "Fiscal",
    "Fit",
    "IncomeTax",
    "InputVariable",
    "Interests",
    "Job",
    "JobCost",
    "Opex",
    "Outputs",
    "Pair",
    "Pooling",
    "Prices",
    "Response",
    "Sampling",
    "Settings",
    "Strategies",
    "Stress",
    "TypeCurve",
    "Valuation",
    "WellCase",
]
