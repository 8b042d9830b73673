"""Exponential and logarithm as short polynomials, which the compiler works for several numbers at a time.

Both keep their digits near zero and are good to 5e-16 of their value, where the mathematics library works one number
after the other.
"""

from __future__ import annotations

import math

import numpy as np

from refracmc.compiler import rule

_LN2_HIGH, _LN2_LOW = 6.93147180369123816490e-01, 1.90821492927058770002e-10
"""ln 2 in two parts, the first with zeros at its end."""
_PER_LN2 = 1.0 / math.log(2.0)
_TO_WHOLE = 6755399441055744.0
"""1.5 x 2^52: added to a small number it leaves the number's whole part in the last bits."""
_TO_WHOLE_BITS = np.float64(_TO_WHOLE).view(np.int64)
_ROOT_HALF_BITS = np.float64(math.sqrt(0.5)).view(np.int64)
_E = tuple(1.0 / math.factorial(k) for k in range(14))
_LOG = (
    6.666666666666735130e-01,
    3.999999999940941908e-01,
    2.857142874366239149e-01,
    2.222219843214978396e-01,
    1.818357216161805012e-01,
    1.531383769920937332e-01,
    1.479819860511658591e-01,
)
"""Coefficients of the minimax polynomial of ln(1 + f) in f/(2 + f), squared, after Tang (1990): from memory, verified
against NumPy in tests/production/test_elementary.py."""


@rule
def _power_and_series(x: float) -> tuple[float, float]:
    """2^n and exp(r) - 1 for |x| < 700: x = n ln 2 + r, the series of exp in r to the 13th power."""
    shifted = x * _PER_LN2 + _TO_WHOLE
    n = shifted - _TO_WHOLE
    r = x - n * _LN2_HIGH - n * _LN2_LOW
    r2 = r * r
    r4 = r2 * r2
    low = r2 * (_E[4] + r * _E[5]) + (_E[2] + r * _E[3])
    middle = r2 * (_E[8] + r * _E[9]) + (_E[6] + r * _E[7])
    high = r2 * (_E[12] + r * _E[13]) + (_E[10] + r * _E[11])
    series = r2 * (r4 * (r4 * high + middle) + low) + r
    whole = np.float64(shifted).view(np.int64) - _TO_WHOLE_BITS
    return np.int64((whole + 1023) << 52).view(np.float64), series


@rule
def growth(x: float) -> float:
    """exp(x) - 1 (no unit) for |x| < 700."""
    power, series = _power_and_series(x)
    return power * series + (power - 1.0)


@rule
def exponential(x: float) -> float:
    """exp(x) (no unit), x held between -700 and 700."""
    power, series = _power_and_series(min(max(x, -700.0), 700.0))
    return power * series + power


@rule
def log_past_one(x: float) -> float:
    """ln(1 + x) (no unit) for x > -1: 1 + x = m 2^e, m from sqrt(1/2) to sqrt(2)."""
    y = 1.0 + x
    lost = x - (y - 1.0)
    bits = np.float64(y).view(np.int64)
    exponent = (bits - _ROOT_HALF_BITS) >> 52
    f = np.int64(bits - (exponent << 52)).view(np.float64) - 1.0
    e = float(exponent)
    s = f / (2.0 + f)
    z = s * s
    w = z * z
    even = w * (w * (w * _LOG[5] + _LOG[3]) + _LOG[1])
    odd = z * (w * (w * (w * _LOG[6] + _LOG[4]) + _LOG[2]) + _LOG[0])
    half = 0.5 * f * f
    return e * _LN2_HIGH + (f - (half - (s * (half + even + odd) + (e * _LN2_LOW + lost / y))))
