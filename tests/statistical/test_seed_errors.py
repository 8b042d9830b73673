"""Standard errors of a run against its spread over seeds, each with a fit of its own.

Oracle: the spread. The root mean square of stated errors over the spread of S seeds scatters by 1/sqrt(2(S - 1)) in a
cell whose values are about normal; the median over many cells that hang together scatters no more than one of them.
Negative control: one fit for all blocks, whose errors cannot know what another fit would change. The long form, with
every cell asked, is `python -m benchmarks.seed_errors`.
"""

import numpy as np
import pytest

from benchmarks.seed_errors import cells_of, outside_by_chance, ratios_of, seeded, stated_by_run
from refracmc.case.load import load_case
from refracmc.case.starter import write_starter

SEEDS, FEWER, TRIALS = 20, 10, 4096
FEW = ("npv", "incremental_npv", "eur")


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("seeds")
    write_starter(str(folder / "case"))
    return load_case(folder / "case" / "case.toml")


def scatter(seeds: int) -> float:
    return 1.0 / np.sqrt(2.0 * (seeds - 1))


def told(case, seeds: int, control: bool = False):
    return [
        stated_by_run(seeded(case, TRIALS, seed, "latin_hypercube"), control) for seed in range(1, seeds + 1)
    ]


def test_stated_errors_are_the_spread_over_seeds(case) -> None:
    values, errors, names = cells_of(told(case, SEEDS))
    ratios = dict(zip(names, ratios_of(values, errors), strict=True))
    assert len(ratios) > 50
    assert abs(np.log(np.median(list(ratios.values())))) < 4.0 * scatter(SEEDS)
    for name in FEW:
        assert abs(np.log(ratios[f"first {name} mean"])) < 4.0 * scatter(SEEDS)
    assert abs(np.log(ratios["nothing npv mean"])) < 4.0 * scatter(SEEDS)
    values, errors, names = cells_of(told(case, FEWER, control=True))
    ratios = dict(zip(names, ratios_of(values, errors), strict=True))
    assert np.log(ratios["nothing npv mean"]) < -4.0 * scatter(FEWER)


def test_chance_is_measured_right() -> None:
    """Normal cells whose errors are right: drawn again, as many lie outside as in fresh samples; where errors are
    half of the truth, the ratios that chance is told from are still set to 1."""
    generator = np.random.default_rng(2)
    values = generator.standard_normal((60, 300))
    for stated in (1.0, 0.5):
        errors = np.full(values.shape, stated)
        ratios = ratios_of(values, errors)
        fresh = ratios_of(generator.standard_normal((60, 300)), np.ones((60, 300)))
        expected = np.mean((fresh < 0.8) | (fresh > 1.3))
        found = outside_by_chance(values, errors, ratios, 100).mean()
        assert abs(found - expected) < 4.0 * np.sqrt(0.02 / 300) + 0.01
    assert np.mean(ratios < 0.8) > 0.95
