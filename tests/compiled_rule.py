"""Rules that only compiled code calls, made callable from the tests."""

from collections.abc import Callable
from typing import Any

import numba


def callable_rule(rule: Callable[..., Any]) -> Callable[..., Any]:
    """The rule, callable with numbers, arrays and named tuples of them."""
    if numba.config.DISABLE_JIT:
        return rule
    compiled = rule._compiled  # type: ignore[attr-defined]

    @numba.njit(error_model="numpy")
    def call(*arguments):  # type: ignore[no-untyped-def]
        return compiled(*arguments)

    return call
