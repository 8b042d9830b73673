"""Designs of a block's uniforms. Oracles: the definitions of strata and nets; SciPy's points."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import kstest, qmc

from refracmc.sampling.designs import DESIGNS, _sobol_strata, block_uniforms, latin_hypercube_column
from refracmc.sampling.streams import BLOCK_SIZE, generator

NAMES = ["response.uplift", "opex.fixed", "job.close_chance"]
REGISTRY = [*NAMES, "a.first", "z.last", "m.middle"]


def strata(u: np.ndarray) -> list[int]:
    return sorted(np.floor(u * BLOCK_SIZE).astype(int).tolist())


@pytest.mark.parametrize("design", DESIGNS)
def test_same_bytes_for_any_order_and_with_more_variables(design: str) -> None:
    first = {b: block_uniforms(3, NAMES, "W1", b, design, REGISTRY) for b in range(6)}
    for b in reversed(range(6)):
        again = block_uniforms(3, [*REGISTRY[::-1]], "W1", b, design, REGISTRY[::-1])
        for name in NAMES:
            assert again[name].tobytes() == first[b][name].tobytes()
    assert list(first[0]) == NAMES


@pytest.mark.parametrize("design", DESIGNS)
def test_seed_scope_block_and_name_all_matter_and_values_are_open(design: str) -> None:
    base = block_uniforms(3, NAMES, "W1", 0, design)
    assert all(u.shape == (BLOCK_SIZE,) and u.min() > 0.0 and u.max() < 1.0 for u in base.values())
    others = [
        block_uniforms(4, NAMES, "W1", 0, design),
        block_uniforms(3, NAMES, "W2", 0, design),
        block_uniforms(3, NAMES, "W1", 1, design),
    ]
    columns = [d[n].tobytes() for d in [base, *others] for n in NAMES]
    assert len(set(columns)) == len(columns)


@pytest.mark.parametrize("design", ["latin_hypercube", "sobol"])
def test_each_stratum_is_met_once(design: str) -> None:
    for block in range(20):
        for u in block_uniforms(1, NAMES, "", block, design, REGISTRY).values():
            assert strata(u) == list(range(BLOCK_SIZE))


def test_plain_does_not_stratify() -> None:
    """Negative control of the test above."""
    assert strata(block_uniforms(1, NAMES, "", 0, "plain")[NAMES[0]]) != list(range(BLOCK_SIZE))


@pytest.mark.parametrize("jitter", [0.0, 1.0 - 2.0**-53])
def test_strata_hold_at_the_ends_of_the_jitter(jitter: float) -> None:
    class Extreme(np.random.Generator):
        def random(self, size: int) -> np.ndarray:  # type: ignore[override]
            return np.full(size, jitter)

    u = latin_hypercube_column(Extreme(np.random.PCG64(1)), BLOCK_SIZE)
    assert strata(u) == list(range(BLOCK_SIZE))
    assert u.min() > 0.0
    assert u.max() < 1.0


def test_one_column_is_the_same_by_both_routes() -> None:
    ours = block_uniforms(8, NAMES, "W", 2, "latin_hypercube")
    for name in NAMES:
        assert np.array_equal(ours[name], latin_hypercube_column(generator(8, name, "W", 2), BLOCK_SIZE))


def test_sobol_points_are_scipys() -> None:
    assert np.array_equal(_sobol_strata(5).T, np.floor(qmc.Sobol(5, scramble=False).random(512) * 512))


def cells(u: np.ndarray, v: np.ndarray, bits: int) -> np.ndarray:
    """Points in each elementary box 2^-bits by 2^-(9-bits)."""
    return np.histogram2d(u, v, bins=[2**bits, 2 ** (9 - bits)], range=[[0, 1], [0, 1]])[0]


def test_scrambling_keeps_the_net() -> None:
    """The first two Sobol dimensions are a (0, 9, 2)-net: one point in each elementary box."""
    names = ["a", "b"]
    for block in range(10):
        u = block_uniforms(11, names, "W", block, "sobol", names)
        for bits in range(10):
            assert np.all(cells(u["a"], u["b"], bits) == 1.0)
    lhs = block_uniforms(11, names, "W", 0, "latin_hypercube")
    assert np.any(cells(lhs["a"], lhs["b"], 4) != 1.0)  # negative control


def test_scrambled_points_are_uniform_over_blocks() -> None:
    """Row 0 of 600 blocks is uniform (Kolmogorov-Smirnov)."""
    u = np.array([block_uniforms(2, ["x"], "W", b, "sobol", [*REGISTRY, "x"])["x"][0] for b in range(600)])
    assert kstest(u, "uniform").pvalue > 1e-4
    assert kstest(u**1.3, "uniform").pvalue < 1e-4  # negative control


def test_scopes_are_independent_in_sobol() -> None:
    """Correlation of a shared and a well's column of one dimension: |r| < 4.5/sqrt(511); pooled too."""
    r = []
    for block in range(100):
        a = block_uniforms(2, ["x"], "", block, "sobol")["x"]
        b = block_uniforms(2, ["x"], "W", block, "sobol")["x"]
        r.append(np.corrcoef(a, b)[0, 1])
    assert np.max(np.abs(r)) < 4.5 / np.sqrt(511)
    assert abs(np.mean(r)) < 4.0 / np.sqrt(511 * 100)


def test_faults() -> None:
    with pytest.raises(ValueError, match="did you mean 'latin_hypercube'"):
        block_uniforms(1, NAMES, "", 0, "latin-hypercube")
    with pytest.raises(ValueError, match=r"opex\.fixed more than once"):
        block_uniforms(1, ["opex.fixed", "opex.fixed"], "", 0, "plain")
    with pytest.raises(ValueError, match=r"found opex\.fix; .*did you mean 'opex\.fixed'"):
        block_uniforms(1, ["opex.fix"], "", 0, "sobol", REGISTRY)
    assert [block_uniforms(1, [], "", 0, d) for d in DESIGNS] == [{}, {}, {}]
