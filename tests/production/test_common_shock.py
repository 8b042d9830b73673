"""What wells of one area and year have in common.

Oracles: the likelihood by whole covariance matrices; the spread of a sum of equally correlated normals; uniforms that
stay uniform (Kolmogorov-Smirnov). Tolerances of random results are four standard errors."""

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtri
from scipy.stats import kstest

from refracmc.production.common_shock import COMMON_PART, PARTS, common_part, in_common, shared_uniforms
from refracmc.production.hindcast_sums import LEAST_IN_SUM, sums_table


def test_wells_that_share_a_shock_stay_uniform_and_are_correlated_by_their_part():
    n, part = 20_000, 0.3
    generator = np.random.default_rng(2)
    shock, first, second = generator.standard_normal(n), generator.random(n), generator.random(n)
    a, b = shared_uniforms(first, shock, part), shared_uniforms(second, shock, part)
    assert kstest(a, "uniform").pvalue > 0.001
    assert np.corrcoef(ndtri(a), ndtri(b))[0, 1] == pytest.approx(part, abs=4 * (1 - part**2) / np.sqrt(n))
    assert shared_uniforms(first, shock, 0.0) == pytest.approx(first)
    draws = generator.lognormal(size=n)
    moved = in_common(draws, shock, first, part)
    assert (np.sort(moved) == np.sort(draws)).all()
    assert np.corrcoef(np.argsort(np.argsort(moved)), np.argsort(np.argsort(a)))[0, 1] == pytest.approx(1.0)


def test_the_part_in_common_is_that_of_the_one_way_model():
    generator = np.random.default_rng(7)
    groups = np.array([3, 3, 3, 3, 5, 5, 8, 8, 8])
    scores = generator.normal(0.3, 1.0, 9) + generator.normal(0.0, 1.0, 9)[groups]
    one, log_density = np.ones(9), []
    for part in PARTS:
        v = part * (groups[:, None] == groups[None, :]) + (1.0 - part) * np.eye(9)
        inverse = np.linalg.inv(v)
        left = one @ inverse @ one
        rest = scores - one @ inverse @ scores / left
        log_density.append(
            -0.5 * (np.linalg.slogdet(v)[1] + np.log(left) + 8 * np.log(rest @ inverse @ rest))
        )
    weight = np.exp(np.array(log_density) - max(log_density))
    weight /= weight.sum()
    mean, sd = common_part(scores, groups)
    assert mean == pytest.approx(weight @ PARTS)
    assert sd == pytest.approx(np.sqrt(weight @ (PARTS - mean) ** 2))


def test_few_groups_say_little_and_many_what_is_true():
    generator = np.random.default_rng(11)
    groups = np.repeat(np.arange(150), 10)
    scores = np.sqrt(0.3) * generator.standard_normal(150)[groups] + np.sqrt(0.7) * generator.standard_normal(
        1500
    )
    mean, sd = common_part(scores, groups)
    assert abs(mean - 0.3) < 4 * sd < 0.2
    few, wide = common_part(generator.standard_normal(8), np.repeat([0, 1], 4))
    assert few > 0.05
    assert wide > 0.1
    # negative control: wells dealt out among the groups have nothing in common
    assert common_part(generator.permutation(scores), groups)[0] < 0.1


def test_the_band_of_a_sum_holds_what_its_wells_have_in_common():
    n, wells, part = 40_000, 12, COMMON_PART
    names = [f"W{k}" for k in range(wells)]
    table = pd.DataFrame(
        {"well_id": names, "phase": "gas", "area": "A", "cut_off": "2020-05", "actual": 100.0, "used": True}
    )
    normal = 100.0 + 10.0 * ndtri((np.arange(n) + 0.5) / n)
    found = sums_table(table, dict.fromkeys(names, normal), 1).iloc[0]
    sd = 10.0 * np.sqrt(wells + wells * (wells - 1) * part)
    width = 2 * 1.2816 * sd
    assert found["p10"] - found["p90"] == pytest.approx(width, rel=0.03)
    assert found["p50"] == pytest.approx(1200.0, abs=4 * 1.26 * sd / np.sqrt(n))
    assert (found["wells"], found["actual"], found["year"]) == (12, 1200.0, "2020")
    # negative control: with each well's luck its own the band is half as wide
    assert width > 1.8 * 2 * 1.2816 * 10.0 * np.sqrt(wells)
    assert not len(sums_table(table[: LEAST_IN_SUM - 1], dict.fromkeys(names, normal), 1))
