"""A prior learned without an area knows nothing of it (data: tests/data, attribution there).

Oracles: the same learning from windows whose forbidden months are nonsense, to the last bit; for the importance
weights a fit under the narrower prior itself, within five standard errors of the difference of two means from
as many particles as half of them count."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from benchmarks.prior_learning import Learner
from benchmarks.prior_windows import PARTICLES, read_windows, reweighted
from refracmc.production.fit import make_target, sample_form
from refracmc.production.history import build_history, clean
from refracmc.production.prior import default_prior
from refracmc.production.sampler import keyed_generator

DATA = Path(__file__).parents[1] / "data"
FORM = "modified_hyperbolic"
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def frame():
    return pd.read_csv(DATA / "shale_ten_production.csv", dtype={"well_id": str})


@pytest.fixture(scope="module")
def windows(frame):
    wells = pd.read_csv(DATA / "shale_ten_wells.csv", dtype=str)
    return read_windows(frame, dict(zip(wells["well_id"], wells["area"], strict=True)), 5)


def spoilt(window, since):
    """The window with its months from `since` on multiplied by seven and half idle."""
    months = window.cut_off + np.arange(len(window.volume)) >= since
    uptime = np.where(months, 0.5 * window.uptime, window.uptime)
    return replace(window, volume=np.where(months, 7.0 * window.volume, window.volume), uptime=uptime)


def test_the_area_left_out_teaches_nothing(windows):
    learned = Learner(windows, 5).prior("gas", "area-4")
    changed = [
        replace(spoilt(w, np.datetime64("1990-01", "M")), peak=1.0) if w.area == "area-4" else w
        for w in windows
    ]
    assert Learner(changed, 5).prior("gas", "area-4") == learned
    # negative control: another area's months do teach
    other = [spoilt(w, np.datetime64("1990-01", "M")) if w.area == "area-5" else w for w in windows]
    assert Learner(other, 5).prior("gas", "area-4") != learned


def test_months_after_the_cut_off_teach_nothing(windows):
    before = np.datetime64("2022-01", "M")
    learned = Learner(windows, 5, before).prior("oil", "area-1")
    assert Learner([spoilt(w, before) for w in windows], 5, before).prior("oil", "area-1") == learned
    early = [spoilt(w, before - 12) for w in windows]
    assert Learner(early, 5, before).prior("oil", "area-1") != learned


def test_particles_of_a_wide_prior_answer_for_a_narrower_one(frame, windows):
    def apart(prior, other):
        x = dict(reweighted(window, prior, PARTICLES, keyed_generator(1, "weights")))[FORM]
        y = sample_form(make_target(FORM, cleaned, other), PARTICLES, keyed_generator(2, "fit")).x
        error = np.sqrt((x.var(axis=1) + y.var(axis=1)) / (PARTICLES / 2))
        return np.abs(x.mean(axis=1) - y.mean(axis=1)) / error

    window = next(w for w in windows if w.phase == "gas" and w.months_in == 24 and w.fits)
    rows = frame[frame["well_id"] == window.well]
    known = build_history(rows[pd.to_datetime(rows["date"]) < pd.Timestamp(str(window.cut_off))], window.well)
    cleaned = clean(known)
    prior = replace(default_prior("gas"), form_weights={FORM: 1.0, "stretched_exponential": 1e-9})
    assert apart(prior, prior).max() < 5.0
    hyper = prior.shapes[FORM]
    moved = replace(hyper, mean=(hyper.mean[0] + 0.7, hyper.mean[1] + 0.4, hyper.mean[2]))
    assert apart(prior, replace(prior, shapes={**prior.shapes, FORM: moved})).max() > 5.0
