"""Oracles: one trial in plain arithmetic with a bisection (second route), the recovery balance, algebra."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refracmc.production.response import ResponseTerms, headroom_ultimate, intensity_factor, respond
from tests.compiled_rule import callable_rule

rule = callable_rule(respond)

BASE = {
    "np_at_job": 300_000.0,
    "ultimate": 600_000.0,
    "remaining_old": 100_000.0,
    "kept_share": 0.9,
    "new_unit_total": 900.0,
    "uplift_total": 0.5,
    "q_peak": 800.0,
    "effective_share": 0.8,
    "depletion_exponent": 1.0,
    "kept_fraction": 0.95,
    "acceleration_fraction": 0.2,
}


def refrac(a):
    """The rule by the names of BASE."""
    terms = ResponseTerms(
        *(float(a[name]) for name in ("uplift_total", "q_peak", "depletion_exponent")),
        *(float(a[name]) for name in ("kept_fraction", "acceleration_fraction", "ultimate")),
    )
    given = ("np_at_job", "remaining_old", "new_unit_total", "kept_share", "effective_share")
    return rule(*(float(a[name]) for name in given), terms)


def plain(a: dict[str, float]) -> tuple[float, float, float, float, float]:
    """One trial in plain arithmetic; the cap by bisection of the recovery, not by the formula."""
    d = min(1.0, a["np_at_job"] / a["ultimate"])
    raw = a["uplift_total"] * a["q_peak"] * a["effective_share"] * (1.0 - d) ** a["depletion_exponent"]
    old = a["kept_fraction"] * a["kept_share"] * a["remaining_old"]
    new = raw * a["new_unit_total"]
    alpha = a["acceleration_fraction"]

    def recovery(scale: float) -> float:
        taken = min(1.0, alpha * scale * new / old) if old > 0 else 0.0
        return a["np_at_job"] + old * (1.0 - taken) + scale * new

    if recovery(1.0) <= a["ultimate"] or new == 0.0:
        scale = 1.0
    elif recovery(0.0) > a["ultimate"]:
        scale = 0.0
    else:
        low, high = 0.0, 1.0
        for _ in range(200):
            mid = (low + high) / 2
            low, high = (mid, high) if recovery(mid) <= a["ultimate"] else (low, mid)
        scale = low
    taken = min(1.0, alpha * scale * new / old) if old > 0 else 0.0
    return raw * scale, a["kept_fraction"] * a["kept_share"] * (1.0 - taken), scale, taken, d


inputs = st.fixed_dictionaries(
    {
        "np_at_job": st.floats(0.0, 8e5),
        "ultimate": st.floats(1e5, 1e6),
        "remaining_old": st.just(0.0) | st.floats(100.0, 4e5),
        "kept_share": st.just(0.0) | st.floats(0.01, 1.0),
        "new_unit_total": st.floats(0.0, 2000.0),
        "uplift_total": st.floats(0.0, 1.5),
        "q_peak": st.floats(10.0, 1500.0),
        "effective_share": st.floats(0.0, 1.2),
        "depletion_exponent": st.sampled_from([0.0, 0.5, 1.0, 2.0]),
        "kept_fraction": st.just(0.0) | st.floats(0.01, 1.0),
        "acceleration_fraction": st.floats(0.0, 0.95),
    }
)


@given(inputs)
def test_a_trial_equals_the_plain_loop_and_the_rock_holds(a: dict[str, float]) -> None:
    found = refrac(a)
    expected = plain(a)
    got = (found.new_rate, found.keep, found.scale, found.acceleration, found.depletion)
    new = expected[0] / expected[2] * a["new_unit_total"] if expected[2] > 0 else 1.0
    # Bisection on the recovery: the scale is known to the rounding of the ultimate over the new volume.
    slack = 1e-9 + 1e-14 * a["ultimate"] / max(new * (1 - a["acceleration_fraction"]), 1e-300)
    if slack < 1e-6:
        for mine, theirs, size in zip(got, expected, (a["q_peak"], 1.0, 1.0, 1.0, 1.0), strict=True):
            assert float(mine) == pytest.approx(theirs, abs=10 * slack * size)
    old_alone = a["np_at_job"] + a["kept_fraction"] * a["kept_share"] * a["remaining_old"]
    total = (
        a["np_at_job"] + float(found.keep) * a["remaining_old"] + float(found.new_rate) * a["new_unit_total"]
    )
    assert total <= max(a["ultimate"], old_alone) * (1 + 1e-12)
    assert bool(found.scale < 1.0) == (float(found.scale) < 1.0)


def test_a_case_by_hand() -> None:
    """d = .5; q2 = .5*800*.8*.5 = 160; R_old = 85,500; R_new = 144,000; room = 214,500 > .8*144,000: no cap,
    accel = .2*144,000/85,500 = .336842; keep = .855*(1 - .336842) = .567."""
    found = refrac(BASE)
    assert (float(found.new_rate), float(found.scale), float(found.depletion)) == (160.0, 1.0, 0.5)
    assert float(found.acceleration) == pytest.approx(0.2 * 144_000 / 85_500, rel=1e-15)
    assert float(found.keep) == pytest.approx(0.567, rel=1e-14)
    assert not (found.scale < 1.0)


def test_the_cap_scales_the_rate_to_the_room() -> None:
    """Ultimate 450,000: d = 2/3, q2raw = 106.667, R_new = 96,000, room = 64,500 or 80,625 new."""
    found = refrac({**BASE, "ultimate": 450_000.0})
    assert float(found.scale) == pytest.approx(80_625 / 96_000, rel=1e-13)
    assert found.scale < 1.0
    total = 300_000 + float(found.keep) * 100_000 + float(found.new_rate) * 900
    assert total == pytest.approx(450_000, rel=1e-13)


def test_acceleration_beyond_the_old_remainder_still_holds_the_cap() -> None:
    """alpha = .9 takes more than the whole old stream; room/(1 - alpha) alone would pass Nult."""
    a = {
        **BASE,
        "acceleration_fraction": 0.9,
        "remaining_old": 20_000.0,
        "ultimate": 330_000.0,
        "depletion_exponent": 0.0,
    }
    found = refrac(a)
    assert float(found.acceleration) == 1.0
    assert float(found.keep) == 0.0
    assert 300_000 + float(found.new_rate) * 900 == pytest.approx(330_000, rel=1e-13)
    whole = refrac({**a, "acceleration_fraction": 1.0})
    assert 300_000 + float(whole.keep) * 20_000 + float(whole.new_rate) * 900 == pytest.approx(
        330_000, rel=1e-13
    )


def test_corners() -> None:
    nothing = refrac({**BASE, "effective_share": 0.0})
    assert (float(nothing.new_rate), float(nothing.scale), float(nothing.acceleration)) == (0.0, 1.0, 0.0)
    assert float(nothing.keep) == pytest.approx(0.855, rel=1e-15)
    empty = refrac({**BASE, "np_at_job": 700_000.0})
    assert (float(empty.new_rate), float(empty.depletion)) == (0.0, 1.0)
    ageless = refrac({**BASE, "np_at_job": 700_000.0, "depletion_exponent": 0.0})
    assert (float(ageless.new_rate), float(ageless.scale)) == (0.0, 0.0), "0^0 = 1, but there is no room"
    endless = refrac({**BASE, "ultimate": np.inf})
    assert (float(endless.depletion), float(endless.new_rate), endless.scale < 1.0) == (0.0, 320.0, False)
    lost = refrac({**BASE, "kept_share": 0.0})
    assert (float(lost.keep), float(lost.acceleration)) == (0.0, 0.0)


def test_intensity_and_headroom() -> None:
    assert intensity_factor(1500.0, None, [0.3, 0.5]).tolist() == [1.0, 1.0]
    assert float(intensity_factor(1600.0, 400.0, 0.5)) == 2.0
    assert float(intensity_factor(1600.0, 400.0, 0.0)) == 1.0
    assert float(headroom_ultimate(400.0, 1.5, 2.0)) == 800.0
    assert float(headroom_ultimate(400.0, 1.0, 2.0)) == 400.0
    with pytest.raises(ValueError, match="headroom must be >= 1"):
        headroom_ultimate(400.0, [1.5, 0.9], 1.0)
    with pytest.raises(ValueError, match="must be > 0 lb/ft"):
        intensity_factor(1500.0, 0.0, 0.5)
