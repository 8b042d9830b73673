"""Oracles: the closed forms of Arps (1945), Valko (2009) and Duong (2011) in 60-digit decimals (computed),
numerical quadrature of the rate (second route), and algebra. Published and remembered numbers stand in
tests/reference.
"""

from decimal import Decimal, localcontext

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from refracmc.production import decline as dc
from refracmc.production.arps import arps_cumulative, arps_rate, fit_arps

YEAR = 365.25
B_VALUES = (
    0.0,
    1e-16,
    1e-9,
    1e-4,
    0.1,
    0.5,
    0.999,
    1 - 1e-9,
    1 - 2**-53,
    1.0,
    1 + 2**-52,
    1 + 1e-9,
    1.001,
    1.3,
    2.0,
)
TIMES = (1e-3, 1.0, 30.4375, 365.25, 3652.5, 20000.0)


def exact(q: float, d_year: float, b: float, floor_year: float, t: float) -> tuple[Decimal, Decimal]:
    """Rate and volume of the modified hyperbolic in 60 digits, straight from the textbook forms."""
    with localcontext() as ctx:
        ctx.prec = 80
        rate, e, time = Decimal(q), Decimal(b), Decimal(t)
        d, floor = Decimal(d_year) / Decimal(YEAR), Decimal(floor_year) / Decimal(YEAR)

        def hyperbolic(s: Decimal) -> tuple[Decimal, Decimal]:
            if e == 0:
                fall = (-d * s).exp()
                return rate * fall, rate * (1 - fall) / d
            base = 1 + e * d * s
            if e == 1:
                return rate / base, rate * base.ln() / d
            log = base.ln()
            return rate * (-log / e).exp(), rate * (1 - (-(1 - e) / e * log).exp()) / ((1 - e) * d)

        if d <= floor:
            e = Decimal(0)
            return hyperbolic(time)
        if e == 0 or floor == 0 or (switch := (d / floor - 1) / (e * d)) >= time:
            return hyperbolic(time)
        q_switch, volume = hyperbolic(switch)
        fall = (-floor * (time - switch)).exp()
        return q_switch * fall, volume + q_switch * (1 - fall) / floor


@pytest.mark.parametrize("floor", [0.0, 0.06, 0.35, 2.0])
@pytest.mark.parametrize("b", B_VALUES)
def test_modified_hyperbolic_matches_sixty_digits(b: float, floor: float) -> None:
    for d_year in (0.02, 0.8, 4.0):
        slots = [[800.0], [d_year], [b], [floor]]
        rates, volumes = dc.rate(0, slots, TIMES)[0], dc.cumulative(0, slots, TIMES)[0]
        for k, t in enumerate(TIMES):
            q, n = exact(800.0, d_year, b, floor, t)
            # The rate carries the rounding of its exponent, |ln q/q0| units in the last place.
            tolerance = 1e-12 if q > Decimal("1e-30") else 1e-10
            assert float(abs(Decimal(rates[k]) - q)) <= tolerance * float(q) + 1e-300
            assert float(abs(Decimal(volumes[k]) / n - 1)) < 1e-12


def test_sixty_digit_oracle_sees_an_error_of_one_part_in_1e11() -> None:
    """Negative control of the comparison above."""
    _, n = exact(800.0, 0.8, 0.5, 0.06, 365.25)
    wrong = dc.cumulative(0, [[800.0], [0.8], [0.5 + 1e-10], [0.06]], [365.25])[0, 0]
    assert float(abs(Decimal(wrong) / n - 1)) > 1e-12


def test_limits_that_are_exact() -> None:
    t = np.array([0.0, 10.0, 1000.0])
    assert np.array_equal(dc.cumulative(0, [[7.0], [0.0], [0.9], [0.0]], t)[0], [0.0, 70.0, 7000.0])
    assert np.array_equal(dc.rate(0, [[7.0], [0.0], [0.9], [0.0]], t)[0], [7.0, 7.0, 7.0])
    assert not dc.cumulative(0, [[0.0], [0.8], [0.9], [0.1]], t).any()
    same = dc.cumulative(0, [[7.0, 7.0], [0.1, 0.1], [1.4, 0.0], [0.3, 0.0]], t)
    assert np.allclose(same[0], same[1], rtol=1e-15), "D0 <= Dmin is exponential with D0 throughout"


hyperbolic = st.tuples(
    st.floats(0.1, 5e3),
    st.floats(1e-3, 20.0),
    st.one_of(st.just(0.0), st.just(1.0), st.floats(0, 2.5)),
    st.floats(0, 1),
)
stretched = st.tuples(st.floats(1.0, 5e3), st.floats(5.0, 2e3), st.floats(0.2, 1.2), st.floats(1.0, 4e3))
duong = st.tuples(
    st.floats(1.0, 5e3), st.floats(0.3, 3.0), st.one_of(st.just(1.0), st.floats(0.9, 1.6)), st.floats(1, 4e3)
)
any_form = st.one_of(
    st.tuples(st.just(0), hyperbolic), st.tuples(st.just(1), stretched), st.tuples(st.just(2), duong)
)


@given(any_form, st.lists(st.floats(0.0, 2e4), min_size=2, max_size=12))
def test_volume_never_falls_and_its_slope_is_the_rate(
    case: tuple[int, tuple[float, ...]], times: list[float]
) -> None:
    form, slot = case
    slots = np.array(slot)[:, None]
    t = np.sort(np.array(times))
    volume = dc.cumulative(form, slots, t)[0]
    assert np.all(np.diff(volume) >= -1e-12 * volume[-1])
    assert dc.cumulative(form, slots, [0.0])[0, 0] == pytest.approx(0.0, abs=1e-12 * (volume[-1] + 1e-12))
    start, stop = t[0], t[0] + 30.4375
    step = np.diff(dc.cumulative(form, slots, [start, stop])[0])[0]
    knots = [p for p in [dc.terminal_switch_days(slots)[0]] if form == 0 and start < p < stop] or None
    area, _ = quad(
        lambda s: dc.rate(form, slots, [s])[0, 0], start, stop, epsrel=1e-11, epsabs=0, points=knots
    )
    assert step == pytest.approx(area, rel=1e-9, abs=1e-11 * volume[-1] + 1e-12 * slot[0])


@given(hyperbolic, st.lists(st.floats(0.0, 1e5), min_size=1, max_size=10))
def test_decline_is_the_slope_of_log_rate_and_never_below_the_terminal(
    slot: tuple[float, ...], times: list[float]
) -> None:
    slots = np.array(slot)[:, None]
    t = np.sort(np.array(times))
    yearly = dc.decline_per_year(0, slots, t)[0]
    assert np.all(yearly >= min(slot[1], slot[3]))
    assert np.all(yearly <= slot[1] * (1 + 1e-15))
    assert np.all(np.diff(yearly) <= 1e-12 * slot[1])
    h = 1e-3 * YEAR / slot[1] / 2
    pair = dc.rate(0, slots, np.stack([t, t + 2 * h]).ravel()).reshape(2, -1)
    switch = dc.terminal_switch_days(slots)[0]
    clear = ((switch < t) | (switch > t + 2 * h)) & (pair[1] > 1e-200)
    slope = -np.log(pair[1][clear] / pair[0][clear]) / (2 * h) * YEAR
    mid = dc.decline_per_year(0, slots, t + h)[0][clear]
    # Rounding of rate and of ln(q/q0) in the numerator, truncation b^2 D^2 h^2 of the central difference.
    assert slope == pytest.approx(mid, rel=1e-5, abs=1e-8 * slot[1])


def test_forms_that_are_not_hyperbolic_decline_as_their_rates_do() -> None:
    t = np.linspace(0.0, 6000.0, 13)
    for form, slots in (
        ("stretched_exponential", [[500.0], [90.0], [0.4], [300.0]]),
        ("duong", [[900.0], [1.4], [1.2], [60.0]]),
    ):
        q = [dc.rate(form, slots, t + shift)[0] for shift in (0.0, 0.01)]
        slope = -np.log(q[1] / q[0]) / 0.01 * YEAR
        assert dc.decline_per_year(form, slots, t + 0.005)[0] == pytest.approx(slope, rel=1e-6)
    assert dc.decline_per_year("duong", [[900.0], [2.0], [1.1], [0.0]], [0.5])[0, 0] < 0.0


def test_duong_at_its_own_start() -> None:
    """Limits of rate1 x^-m exp(a (x^(1-m) - 1)/(1-m)) at x = 0 (algebra); m = 1 is rate1 x^(a-1)."""
    slots = np.array([[7.0] * 5, [1.5, 1.5, 1.0, 0.5, 1.5], [1.2, 1.0, 1.0, 1.0, 0.9], [0.0] * 5])
    assert dc.rate("duong", slots, [0.0])[:, 0].tolist() == [0.0, 0.0, 7.0, np.inf, np.inf]
    assert dc.cumulative("duong", slots, [0.0])[:, 0].tolist() == [0.0] * 5
    power = dc.cumulative("duong", slots[:, 1:4], [50.0])[:, 0]
    assert power == pytest.approx(7.0 * 50.0 ** slots[1, 1:4] / slots[1, 1:4], rel=1e-13)


@pytest.mark.parametrize(
    ("form", "slot"),
    [
        (0, (500.0, 0.9, 1.2, 0.08)),
        (0, (500.0, 0.9, 0.0, 0.08)),
        (0, (500.0, 0.05, 1.2, 0.08)),
        (0, (500.0, 0.9, 0.5, 0.0)),
        (1, (500.0, 90.0, 0.5, 200.0)),
        (1, (500.0, 90.0, 0.5, 0.0)),
        (2, (500.0, 1.5, 1.3, 100.0)),
        (2, (500.0, 1.5, 1.3, 0.0)),
    ],
)
def test_ultimate_is_the_volume_at_the_end_of_time(form: int, slot: tuple[float, ...]) -> None:
    slots = np.array(slot)[:, None]
    late = dc.cumulative(form, slots, [1e60])[0, 0] if form else dc.cumulative(form, slots, [1e30])[0, 0]
    assert dc.ultimate(form, slots)[0] == pytest.approx(late, rel=1e-12)


def test_ultimate_without_a_bound() -> None:
    unbounded = np.array([[500.0, 500.0, 500.0], [0.9, 0.0, 0.9], [1.0, 0.3, 2.0], [0.0, 0.0, 0.0]])
    assert np.all(np.isinf(dc.ultimate(0, unbounded)))
    assert np.isinf(dc.ultimate("duong", [[500.0], [1.5], [1.0], [10.0]])[0])


@given(hyperbolic, st.floats(1e-4, 1.5))
def test_time_to_rate_is_the_inverse_of_rate(slot: tuple[float, ...], share: float) -> None:
    slots = np.array(slot)[:, None]
    days = dc.time_to_rate(0, slots, slot[0] * share)
    if share >= 1.0:
        assert days[0] == 0.0
    elif days[0] < 1e280:
        assert dc.rate(0, slots, days)[0, 0] == pytest.approx(slot[0] * share, rel=1e-11)


def test_time_to_rate_is_infinite_without_decline() -> None:
    assert np.isinf(dc.time_to_rate(0, [[500.0], [0.0], [0.5], [0.0]], 100.0)[0])


def test_a_mixture_is_its_parts_and_broadcasts_times() -> None:
    rng = np.random.default_rng(3)
    codes = np.tile([0, 1, 2], 5).astype(np.int8)
    slots = np.empty((4, codes.size))
    for code, row in enumerate(([400, 0.7, 1.1, 0.1], [400, 80, 0.5, 200], [400, 1.4, 1.2, 90])):
        slots[:, codes == code] = np.array(row, dtype=float)[:, None]
    slots[0] *= rng.uniform(0.5, 2.0, codes.size)
    own = np.cumsum(rng.uniform(1.0, 40.0, (codes.size, 30)), axis=1)
    for t in (own, own[0]):
        volume = dc.cumulative_mixture(codes, slots, t)
        for k, code in enumerate(codes):
            row = t if t.ndim == 1 else t[k]
            # the last bit of a vectorised power depends on the processor and on where a value stands in its array
            alone = dc.cumulative(int(code), slots[:, [k]], row)
            np.testing.assert_allclose(volume[k], alone[0], rtol=1e-14)
    single = dc.cumulative_mixture(np.zeros(3, int), slots[:, :1].repeat(3, 1), own[:3])
    assert np.array_equal(single, dc.cumulative("modified_hyperbolic", slots[:, :1].repeat(3, 1), own[:3]))


def test_memory_order_of_the_times_changes_nothing() -> None:
    """The fast paths write through flat views: a Fortran-ordered array must not scramble them."""
    t = np.linspace(0.0, 9000.0, 40).reshape(4, 10)
    slots = np.array([[300.0] * 4, [0.9, 0.2, 0.9, 0.01], [1.2, 1.0, 0.0, 0.5], [0.1, 0.1, 0.0, 0.0]])
    for work in (dc.cumulative, dc.rate):
        assert np.array_equal(work(0, slots, np.asfortranarray(t)), work(0, slots, t))
    exponential = slots.copy()
    exponential[2] = 0.0
    assert np.array_equal(
        dc.cumulative(0, exponential, np.asfortranarray(t)), dc.cumulative(0, exponential, t)
    )


@pytest.mark.parametrize(
    ("form", "slots", "t", "words"),
    [
        ("arps", [[1.0], [1.0], [1.0], [0.0]], [1.0], "unknown decline form 'arps'"),
        (3, [[1.0], [1.0], [1.0], [0.0]], [1.0], "unknown decline form 3"),
        (0, [[1.0], [1.0], [1.0]], [1.0], r"shape \(4, n\)"),
        (0, [[1.0, 1.0], [1.0, 1.0], [0.5, -0.1], [0.0, 0.0]], [1.0], "b must be finite and >= 0.* in row 1"),
        (0, [[np.nan], [1.0], [0.5], [0.0]], [1.0], "rate_per_d must be finite"),
        (1, [[1.0], [0.0], [0.5], [0.0]], [1.0], "tau_days must be finite and > 0"),
        (2, [[1.0], [1.0], [0.0], [0.0]], [1.0], "m must be finite and > 0"),
        (0, [[1.0], [1.0], [1.0], [0.0]], [-1.0], "must be >= 0"),
        (0, [[1.0], [1.0], [1.0], [0.0]], [np.nan], "must be >= 0"),
        (0, [[1.0], [1.0], [1.0], [0.0]], [[1.0], [2.0]], "t_days must have shape"),
    ],
)
def test_wrong_input_is_named(form: object, slots: list[list[float]], t: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        dc.cumulative(form, slots, t)  # type: ignore[arg-type]


def test_mixture_refuses_codes_that_do_not_fit() -> None:
    with pytest.raises(ValueError, match="do not fit"):
        dc.cumulative_mixture([0, 1], [[1.0], [1.0], [1.0], [0.0]], [1.0])
    with pytest.raises(ValueError, match="unknown decline form 7"):
        dc.cumulative_mixture([0, 7], np.ones((4, 2)), [1.0])


@given(st.floats(1e-3, 5.0), st.one_of(st.just(0.0), st.just(1.0), st.floats(0, 2.5)), st.floats(0.1, 24.0))
def test_effective_and_nominal_decline_are_inverse(d: float, b: float, periods: float) -> None:
    secant = dc.secant_from_nominal(d, b, periods)
    assert float(secant) == pytest.approx(1 - float(arps_rate(1.0, d, b, periods)), rel=1e-12, abs=1e-15)
    if secant < 1.0 - 1e-6:
        assert float(dc.nominal_from_secant(secant, b, periods)) == pytest.approx(d, rel=1e-7)
    assert float(dc.nominal_from_tangent(dc.tangent_from_nominal(d))) == pytest.approx(d, rel=1e-13)


@pytest.mark.parametrize("value", [-0.01, 1.0, np.nan])
def test_an_effective_decline_is_a_fraction(value: float) -> None:
    with pytest.raises(ValueError, match="must be a fraction"):
        dc.nominal_from_tangent(value)
    with pytest.raises(ValueError, match="must be a fraction"):
        dc.nominal_from_secant(value, 0.5)


@pytest.mark.parametrize(
    ("b", "kind"), [(0.0, "exponential"), (0.5, "hyperbolic"), (1.0, "harmonic"), (1.4, "hyperbolic")]
)
def test_fit_recovers_a_noiseless_curve_and_its_kind(b: float, kind: str) -> None:
    t = np.arange(1.0, 37.0)
    found = fit_arps(t, arps_rate(900.0, 0.12, b, t))
    assert found.kind == kind
    assert (found.initial_rate, found.nominal_decline, found.b) == pytest.approx(
        (900.0, 0.12, b), rel=1e-6, abs=1e-6
    )
    assert found.cumulative(36.0) == pytest.approx(float(arps_cumulative(900.0, 0.12, b, 36.0)), rel=1e-7)


@pytest.mark.parametrize("lists", [40, pytest.param(150, marks=pytest.mark.slow)])
def test_fit_keeps_the_size_of_its_test(lists: int) -> None:
    """F-test at 5 % on truly exponential lists with 3 % noise: rejections are binomial, here within 4 standard
    errors; hyperbolic lists (b = .6) are the negative control and are told apart nearly always."""
    rng = np.random.default_rng(11)
    t = np.arange(1.0, 37.0)
    noise = np.exp(0.03 * rng.standard_normal((lists, t.size)))
    kinds = [fit_arps(t, arps_rate(900.0, 0.1, 0.0, t) * e).kind for e in noise]
    rejected = sum(kind == "hyperbolic" for kind in kinds) / lists
    # b >= 0 is a bound, so that up to half of the two-sided rejections cannot occur: a size of .025 to .05.
    assert rejected < 0.05 + 4 * (0.05 * 0.95 / lists) ** 0.5
    curved = [fit_arps(t, arps_rate(900.0, 0.1, 0.6, t) * e).kind for e in noise[:20]]
    assert curved.count("hyperbolic") >= 18


@pytest.mark.parametrize(
    ("t", "q", "w", "words"),
    [
        ([1, 2, 3], [3, 2, 1], None, "length >= 4"),
        ([1, 2, 3, 4], [3, 2, 1], None, "length >= 4"),
        ([1, 2, 3, 4], [4, 3, 0, 1], None, "rate must be a finite number > 0"),
        ([-1, 2, 3, 4], [4, 3, 2, 1], None, "time must be a finite number >= 0"),
        ([1, 2, 3, 4], [1, 2, 3, 4], None, "do not decline"),
        ([1, 1, 1, 1], [4, 3, 2, 1], None, "span more than one time"),
        ([1, 2, 3, 4], [4, 3, 2, 1], [0, 0, 0, 0], "span more than one time"),
    ],
)
def test_fit_refuses_what_it_cannot_fit(
    t: list[float], q: list[float], w: list[float] | None, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        fit_arps(t, q, w)
