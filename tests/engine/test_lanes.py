"""Operations on lanes. Oracle: NumPy on the same numbers, its expm1 and log1p for the two functions."""

import hashlib
import operator
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

numba = pytest.importorskip("numba")

from refracmc.engine import lanes  # noqa: E402

ULPS = 7e-16  # three units in the last place where those are widest: two of ours, one of NumPy's
ROWS = 5_000


def _each(function):
    """A compiled function of rows (n, COUNT)."""

    @numba.njit
    def run(values, out):
        for i in range(values.shape[0]):
            lanes.store(out, i, function(lanes.load(values, i)))

    return run


def _worst(function, oracle, values):
    out = np.empty_like(values)
    _each(function)(values, out)
    return np.max(np.abs(out / oracle(values) - 1.0))


@pytest.mark.parametrize("size", [1e-15, 1e-9, 1e-4, 0.02, 0.3, 1.0, 30.0, 600.0])
def test_functions_to_the_last_digits(size: float) -> None:
    """Negative controls: the same functions by the naive formula lose digits near zero."""
    values = np.random.default_rng(1).uniform(-size, size, (ROWS, lanes.COUNT))
    values[values == 0.0] = size
    assert _worst(lanes.growth, np.expm1, values) < ULPS
    past = np.where(values > -0.999, values, 0.5)
    assert _worst(lanes.logarithm_past_one, np.log1p, past) < ULPS
    if size < 1e-3:
        assert np.max(np.abs((np.exp(values) - 1.0) / np.expm1(values) - 1.0)) > ULPS
        assert np.max(np.abs(np.log(1.0 + values) / np.log1p(values) - 1.0)) > ULPS


def test_zero_stays_zero() -> None:
    values, out = np.zeros((1, lanes.COUNT)), np.ones((1, lanes.COUNT))
    for function in (lanes.growth, lanes.logarithm_past_one):
        _each(function)(values, out)
        assert not out.any()


@numba.njit
def _work(a, b, out):
    for i in range(a.shape[0]):
        x, y = lanes.load(a, i), lanes.load(b, i)
        lanes.store(out[0], i, x + y)
        lanes.store(out[1], i, x - y)
        lanes.store(out[2], i, x * y)
        lanes.store(out[3], i, x / y)
        lanes.store(out[4], i, lanes.least(x, y))
        lanes.store(out[5], i, lanes.most(x, y))
        lanes.store(out[6], i, lanes.magnitude(x))
        lanes.store(out[7], i, lanes.rounded(x))
        lanes.store(out[8], i, lanes.truncated(x))


def test_arithmetic() -> None:
    rng = np.random.default_rng(2)
    a, b = rng.normal(size=(2, 50, lanes.COUNT)) * 3.0
    out = np.empty((9, 50, lanes.COUNT))
    _work(a, b, out)
    wanted = (a + b, a - b, a * b, a / b, np.minimum(a, b), np.maximum(a, b), np.abs(a), np.rint(a))
    wanted = (*wanted, np.trunc(a))
    for found, right in zip(out, wanted, strict=True):
        assert np.array_equal(found, right)


@numba.njit
def _compare(a, b, out):
    one, zero = lanes.every(1.0), lanes.every(0.0)
    for i in range(a.shape[0]):
        x, y = lanes.load(a, i), lanes.load(b, i)
        lanes.store(out[0], i, lanes.choose(x < y, one, zero))
        lanes.store(out[1], i, lanes.choose(x <= y, one, zero))
        lanes.store(out[2], i, lanes.choose(x > y, one, zero))
        lanes.store(out[3], i, lanes.choose(x >= y, one, zero))
        lanes.store(out[4], i, lanes.choose(x == y, one, zero))
        lanes.store(out[5], i, lanes.choose(lanes.negated(x < y), one, zero))
        lanes.store(out[6], i, lanes.choose((x < y) | (x > zero), one, zero))
        lanes.store(out[7], i, lanes.choose((x < y) & (x > zero), one, zero))
        for m in range(lanes.COUNT):
            out[8, i, m] = lanes.lane(x, m)
            out[9, i, m] = 1.0 if lanes.lane(x < y, m) else 0.0
        out[10, i, 0] = 1.0 if lanes.some(x < y) else 0.0


def test_comparisons() -> None:
    """Not a number is neither below, above nor equal."""
    rng = np.random.default_rng(3)
    a, b = rng.integers(-2, 3, size=(2, 200, lanes.COUNT)).astype(float)
    a[::17, 0] = np.nan
    out = np.zeros((11, 200, lanes.COUNT))
    _compare(a, b, out)
    signs = (operator.lt, operator.le, operator.gt, operator.ge, operator.eq)
    for found, sign in zip(out, signs, strict=False):
        assert np.array_equal(found, sign(a, b))
    assert np.array_equal(out[5], ~(a < b))
    assert np.array_equal(out[6], (a < b) | (a > 0.0))
    assert np.array_equal(out[7], (a < b) & (a > 0.0))
    assert np.array_equal(out[8], a, equal_nan=True)
    assert np.array_equal(out[9], a < b)
    assert np.array_equal(out[10, :, 0], (a < b).any(axis=1))


def test_one_rounding() -> None:
    """fused: (1 + e)(1 - e) - 1 is -e^2, which two roundings lose (the negative control)."""

    @numba.njit
    def run(a, b, out):
        one = lanes.every(1.0)
        lanes.store(out, 0, lanes.fused(lanes.load(a, 0), lanes.load(b, 0), lanes.every(0.0) - one))

    e = 2.0**-40
    a, b, out = (
        np.full((1, lanes.COUNT), 1.0 + e),
        np.full((1, lanes.COUNT), 1.0 - e),
        np.empty((1, lanes.COUNT)),
    )
    run(a, b, out)
    assert (out == -(e**2)).all()
    assert a[0, 0] * b[0, 0] - 1.0 == 0.0


def test_as_many_as_a_register_holds() -> None:
    """Features in the names of LLVM."""
    assert lanes._fitting("+avx2,+avx512f,+fma") == 8
    assert lanes._fitting("+avx2,-avx512f,+fma") == 4
    assert lanes._fitting("") == 4


@pytest.mark.parametrize("count", [1, 3, 4, 8, 11])
def test_rows_become_columns(count: int) -> None:
    source = np.random.default_rng(4).normal(size=(9, 12))
    rows = np.array([7, 0, 7, 3, 8, 1, 0, 5])[: lanes.COUNT]
    out = np.full((16, lanes.COUNT), -1.0)
    lanes.turn(source, rows, count, out, 2)
    assert np.array_equal(out[2 : 2 + count], source[rows, :count].T)
    assert (out[:2] == -1.0).all()
    assert (out[2 + count :] == -1.0).all()


def test_put() -> None:
    @numba.njit
    def run(out, value):
        lanes.put(out, 1, 2, 3, lanes.load(value, 0))

    out = np.zeros((2, 3, 12))
    value = np.arange(1.0, lanes.COUNT + 1.0).reshape(1, -1)
    run(out, value)
    right = np.zeros_like(out)
    right[1, 2, 3 : 3 + lanes.COUNT] = value
    assert np.array_equal(out, right)


def test_a_row_out_of_bounds_is_found_where_bounds_are_checked(tmp_path: Path) -> None:
    """Within bounds the same program ends well: the negative control."""
    program = (
        "import numpy as np; from refracmc.engine import lanes; a = np.zeros((3, lanes.COUNT)); "
        "import numba\n@numba.njit\ndef f(a, i):\n    lanes.store(a, 0, lanes.load(a, i))\nf(a, {row})"
    )
    for row, code in ((2, 0), (3, 1)):
        done = subprocess.run(
            [sys.executable, "-c", program.format(row=row)],
            env={**os.environ, "NUMBA_BOUNDSCHECK": "1", "NUMBA_CACHE_DIR": str(tmp_path)},
            capture_output=True,
            text=True,
        )
        assert done.returncode == code, done.stderr
        assert ("IndexError" in done.stderr) == (code == 1)


BUILT_IN = {
    "compiled_months": ("lanes",),
    "compiled_rate": ("lanes",),
    "compiled_jobs": ("cash", "job_arguments", "lanes"),
    "compiled": ("lanes", "compiled_months", "compiled_rate"),
}


@pytest.mark.parametrize("name", BUILT_IN)
def test_compiled_code_is_made_anew_when_what_is_built_into_it_changes(name: str) -> None:
    """numba knows a cached function by its own file alone, so that file names what it takes from others.

    Where this fails after a change: put the digest found here into the file, `compiled` last.
    """
    folder = Path(lanes.__file__).parent
    parts = b"".join((folder / f"{part}.py").read_bytes() for part in BUILT_IN[name])
    digest = hashlib.sha256(parts).hexdigest()[:16]
    assert f'BUILT_IN = "{digest}"' in (folder / f"{name}.py").read_text("utf-8")
    for line in (folder / f"{name}.py").read_text("utf-8").splitlines():
        taken = re.match(r"from \.(\w+) import", line)
        assert taken is None or taken[1] in BUILT_IN[name], line
