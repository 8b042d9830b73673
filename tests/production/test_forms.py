"""Every decline form of the registry, the next one too: what belongs together in a form does.

Oracles: quadrature of the rate, differences of the log rate, and the log shape of the fit, each against the others.
"""

import numpy as np
import pytest
from scipy.integrate import quad

from refracmc.production.forms import FORMS, form_code, form_of
from refracmc.production.forms.decline_form import DAYS_PER_YEAR, DeclineForm

PHASES = ("oil", "gas")
END, LEVEL = 700.0, np.log(150.0)


def curve(form: DeclineForm, phase: str) -> tuple[np.ndarray, np.ndarray]:
    """Shape (d, 1) at the middle of the prior, and the slots of its curve at the end of a history."""
    shape = np.array(form.priors[phase].mean)[:, None]
    return shape, form.slots_at_end(shape, np.array([LEVEL]), END)


def test_the_numbers_of_the_forms_are_those_on_disk() -> None:
    assert FORMS[:3] == ("modified_hyperbolic", "stretched_exponential", "duong")
    assert [form_code(name) for name in FORMS] == list(range(len(FORMS)))
    assert [form_of(k).name for k in range(len(FORMS))] == list(FORMS)


@pytest.mark.parametrize("name", FORMS)
def test_a_form_is_whole(name: str) -> None:
    form = form_of(name)
    assert len(form.slots) == 4
    assert all(slot.name and slot.meaning for slot in form.slots)
    assert 0.0 < form.weight <= 1.0
    for phase in PHASES:
        prior = form.priors[phase]
        lists = (prior.names, prior.mean, prior.sd, prior.low, prior.high)
        assert len({len(item) for item in lists}) == 1
        for low, mean, sd, high in zip(prior.low, prior.mean, prior.sd, prior.high, strict=True):
            assert low < mean < high
            assert sd > 0.0


@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize("name", FORMS)
def test_rate_volume_decline_and_fit_are_one_curve(name: str, phase: str) -> None:
    form = form_of(name)
    shape, slots = curve(form, phase)
    t = np.array([0.0, 1.0, 200.0, 4000.0])
    log_rate = np.log(form.rate(slots, t)[0])
    fitted = form.log_shape(shape, np.append(END, END + t))[:, 0]
    np.testing.assert_allclose(log_rate, LEVEL + fitted[1:] - fitted[0], rtol=1e-12)
    volume = form.cumulative(slots, t)[0]
    for k, until in enumerate(t):
        area, _ = quad(lambda s: form.rate(slots, np.array([s]))[0, 0], 0.0, until, epsrel=1e-11, limit=200)
        assert volume[k] == pytest.approx(area, rel=1e-9)
    half = form.cumulative(slots, t, np.array([0.5]))[0]
    np.testing.assert_allclose(half, form.cumulative(slots, 0.5 * t)[0], rtol=1e-14)
    assert form.cumulative(slots, np.array([1e9]))[0, 0] <= form.ultimate(slots)[0]
    step = 1e-2
    pair = np.log([form.rate(slots, t[1:] + side * step)[0] for side in (-1.0, 1.0)])
    slope = (pair[0] - pair[1]) / (2.0 * step) * DAYS_PER_YEAR
    np.testing.assert_allclose(form.decline_per_year(slots, t[1:])[0], slope, rtol=1e-5)
    # negative control: another level is another curve
    assert abs(np.log(form.rate(1.001 * slots, t)[0, 0]) - LEVEL) > 1e-4


@pytest.mark.parametrize("name", FORMS)
def test_a_steeper_curve_starts_at_the_same_rate(name: str) -> None:
    form = form_of(name)
    _, slots = curve(form, "oil")
    steeper, now = form.steeper(slots, np.array([1.3])), np.zeros(1)
    assert form.rate(steeper, now)[0, 0] == pytest.approx(150.0, rel=1e-12)
    factor = form.decline_per_year(steeper, now)[0, 0] / form.decline_per_year(slots, now)[0, 0]
    left_alone = type(form).steeper is DeclineForm.steeper
    assert factor == pytest.approx(1.0 if left_alone else 1.3, rel=1e-12)


@pytest.mark.parametrize("share", [0.9, 0.1, 1e-3])
@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize("name", FORMS)
def test_days_to_a_rate_are_where_the_curve_has_it(name: str, phase: str, share: float) -> None:
    """Oracle: the rate itself, at the days found; a rate above all of the curve takes none."""
    form = form_of(name)
    _, slots = curve(form, phase)
    limit = np.array([share * np.exp(LEVEL)])
    days = form.days_to_rate(slots, limit)
    assert form.rate(slots, days)[0, 0] == pytest.approx(limit[0], rel=1e-9)
    assert form.days_to_rate(slots, np.array([1e9]))[0] == 0.0
