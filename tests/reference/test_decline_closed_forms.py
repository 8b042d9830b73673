"""Numbers computed from the published closed forms of decline (digits computed, quadrature agrees).

Arps (1945), Trans. AIME 160, 228-247; Duong (2011), SPE REE 14(3), 377-387; Valko (2009), SPE-119369.
"""

import math

import pytest
from scipy.integrate import quad

from refracmc.production.decline import (
    arps_cumulative,
    arps_rate,
    cumulative,
    nominal_from_secant,
    rate,
    secant_from_nominal,
    tangent_from_nominal,
    ultimate,
)

YEAR = 365.25
EFFECTIVE_PERCENT = {
    0.1: {0.0: 9.516258, 0.5: 9.297052, 1.0: 9.090909, 1.5: 8.896561, 2.0: 8.712907},
    1.0: {0.0: 63.212056, 0.5: 55.555556, 1.0: 50.0, 1.5: 45.711648, 2.0: 42.264973},
}
ARPS_AT_20 = {
    0.0: (0.000113, 1249.999859),
    0.5: (12.345679, 2222.222222),
    1.0: (58.823529, 3541.516680),
    1.3: (93.415315, 4318.557764),
}


@pytest.mark.parametrize("nominal", EFFECTIVE_PERCENT)
def test_effective_from_nominal(nominal: float) -> None:
    for b, percent in EFFECTIVE_PERCENT[nominal].items():
        assert 100 * float(secant_from_nominal(nominal, b)) == pytest.approx(percent, abs=5e-7)
        assert float(nominal_from_secant(percent / 100, b)) == pytest.approx(nominal, rel=1e-6)
    assert 100 * float(tangent_from_nominal(nominal)) == pytest.approx(
        EFFECTIVE_PERCENT[nominal][0.0], abs=5e-7
    )


@pytest.mark.parametrize("b", ARPS_AT_20)
def test_arps_after_twenty_periods(b: float) -> None:
    """qi = 1000, Di = 0.8, t = 20: in the list's own unit and through the forecast (years and days)."""
    q, n = ARPS_AT_20[b]
    assert float(arps_rate(1000.0, 0.8, b, 20.0)) == pytest.approx(q, abs=5e-7)
    assert float(arps_cumulative(1000.0, 0.8, b, 20.0)) == pytest.approx(n, abs=5e-7)
    slots = [[1000.0], [0.8], [b], [0.0]]
    assert rate(0, slots, [20.0 * YEAR])[0, 0] == pytest.approx(q, abs=5e-7)
    assert cumulative(0, slots, [20.0 * YEAR])[0, 0] / YEAR == pytest.approx(n, abs=5e-7)
    area, _ = quad(lambda t: float(arps_rate(1000.0, 0.8, b, t)), 0.0, 20.0, epsrel=1e-11)
    assert area == pytest.approx(n, abs=1e-6)


def test_duong_after_a_year() -> None:
    """q1 = 1000, a = 1.5, m = 1.2, t = 365: Q = q/(a t^-m) = 120288.983109."""
    slots = [[1000.0], [1.5], [1.2], [0.0]]
    assert cumulative("duong", slots, [365.0])[0, 0] == pytest.approx(120_288.983109, abs=5e-7)
    q = rate("duong", slots, [365.0])[0, 0]
    assert q / (1.5 * 365.0**-1.2) == pytest.approx(120_288.983109, abs=5e-7)
    assert rate("duong", slots, [1.0])[0, 0] == pytest.approx(1000.0, rel=1e-14)


@pytest.mark.parametrize(("tau", "n"), [(90.0, 0.5), (30.0, 0.3), (400.0, 1.0)])
def test_stretched_exponential_ultimate(tau: float, n: float) -> None:
    """EUR = qi tau/n Gamma(1/n); at n = 1/2 that is 2 qi tau, at n = 1 the exponential's qi tau (algebra)."""
    slots = [[500.0], [tau], [n], [0.0]]
    eur = 500.0 * tau / n * math.gamma(1.0 / n)
    assert ultimate("stretched_exponential", slots)[0] == pytest.approx(eur, rel=1e-13)
    assert cumulative("stretched_exponential", slots, [1e12])[0, 0] == pytest.approx(eur, rel=1e-13)
    if n in (0.5, 1.0):
        assert eur == pytest.approx(500.0 * tau * (2.0 if n == 0.5 else 1.0), rel=1e-13)
    split = [[500.0], [tau], [n], [700.0]]
    before = cumulative("stretched_exponential", slots, [700.0])[0, 0]
    assert before + ultimate("stretched_exponential", split)[0] == pytest.approx(eur, rel=1e-13)
