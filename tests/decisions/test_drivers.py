"""Variance shares against a function whose shares are known, and the tornado on a linear one.

R4, published: Saltelli et al. (2008), Global Sensitivity Analysis: The Primer: the function of Ishigami with
a = 7, b = 0.1 has S = .3139 .4424 0 and ST = .5576 .4424 .2437. Tolerances are SALib's own intervals.
"""

import numpy as np
import pytest
from SALib.analyze import sobol
from scipy.stats import qmc

from refracmc.decisions import drivers

FIRST = {"x1": 0.3139, "x2": 0.4424, "x3": 0.0}
TOTAL = {"x1": 0.5576, "x2": 0.4424, "x3": 0.2437}
N = 4096
WIDTHS = 4.0 / 1.96
"""Four standard errors in units of the half width of a 95 % interval."""


def ishigami(x1, x2, x3, a=7.0, b=0.1):
    return np.sin(x1) + a * np.sin(x2) ** 2 + b * x3**4 * np.sin(x1)


@pytest.fixture(scope="module")
def sets():
    """Two independent sets of the three inputs, uniform on (-pi, pi)."""
    points = (2.0 * qmc.Sobol(6, seed=4).random(N) - 1.0) * np.pi
    names = ("x1", "x2", "x3")
    return {
        "a": dict(zip(names, points[:, :3].T, strict=True)),
        "b": dict(zip(names, points[:, 3:].T, strict=True)),
    }


def rows_of(sets, groups, a=7.0):
    """Rows of group_drivers; groups: group -> its inputs."""
    of = {name: group for group, names in groups.items() for name in names}

    def run(sources):
        return [
            {"y": ishigami(**{name: sets[source[of[name]]][name] for name in of}, a=a)} for source in sources
        ]

    rows = drivers.group_drivers(tuple(groups), drivers.group_samples(tuple(groups), run), "test")
    assert [(row["target"], row["group"]) for row in rows] == [("y", group) for group in groups]
    return {row["group"]: row for row in rows}


def within(rows, first, total):
    return [
        abs(row["first"] - first[name]) <= WIDTHS * row["first_ci"]
        and abs(row["total"] - total[name]) <= WIDTHS * row["total_ci"]
        for name, row in rows.items()
    ]


def test_the_shares_of_ishigami(sets) -> None:
    rows = rows_of(sets, {name: [name] for name in FIRST})
    assert all(within(rows, FIRST, TOTAL))
    for row in rows.values():  # the intervals say something
        assert 0.0 < row["first_ci"] < 0.15
        assert 0.0 < row["total_ci"] < 0.15


def test_shares_and_intervals_are_those_of_salib(sets) -> None:
    """Oracle: its analysis of the same outputs with the same seed; another seed is the negative control."""
    groups = tuple(FIRST)
    y = {"a": ishigami(**sets["a"]), "b": ishigami(**sets["b"])}
    y |= {name: ishigami(**{**sets["a"], name: sets["b"][name]}) for name in groups}
    problem = {"num_vars": 3, "names": list(groups), "bounds": [[0.0, 1.0]] * 3}
    stacked = np.stack([y[name] for name in ("a", *groups, "b")], axis=1).ravel()
    found = sobol.analyze(problem, stacked, calc_second_order=False, num_resamples=100, seed=7)
    names = (("first", "S1"), ("first_ci", "S1_conf"), ("total", "ST"), ("total_ci", "ST_conf"))
    for seed, same in ((7, True), (8, False)):
        rows = drivers.variance_shares(groups, y, seed, 100)
        got = [row[key] for key, _ in names for row in rows]
        expected = [value for _, name in names for value in found[name]]
        assert (got == pytest.approx(expected, rel=1e-9, abs=1e-12)) is same


@pytest.mark.filterwarnings("ignore:Constant values encountered")
@pytest.mark.parametrize(("where", "value"), [(("a",), 1.0), (("b",), -123456.7), (("x2",), 0.3)])
def test_outputs_that_hardly_ever_differ(where, value) -> None:
    """One row of 500 is not 0, so that many a resample holds the same number throughout. Oracle: SALib."""
    names = ("a", "x1", "x2", "b")
    y = {name: np.zeros(500) for name in names}
    for name in where:
        y[name][7] = value
    problem = {"num_vars": 2, "names": ["x1", "x2"], "bounds": [[0.0, 1.0]] * 2}
    stacked = np.stack([y[name] for name in names], axis=1).ravel()
    found = sobol.analyze(problem, stacked, calc_second_order=False, num_resamples=100, seed=7)
    rows = drivers.variance_shares(("x1", "x2"), y, 7, 100)
    for key, name in (("first", "S1"), ("first_ci", "S1_conf"), ("total", "ST"), ("total_ci", "ST_conf")):
        assert [row[key] for row in rows] == pytest.approx(list(found[name]), rel=1e-9, abs=1e-12)


def test_another_function_is_told_apart(sets) -> None:
    """Negative controls: another coefficient, and the shares of one input claimed for another."""
    rows = rows_of(sets, {name: [name] for name in FIRST}, a=4.0)
    assert not all(within(rows, FIRST, TOTAL))
    rows = rows_of(sets, {name: [name] for name in FIRST})
    turned = {"x1": 0.4424, "x2": 0.3139, "x3": 0.0}
    assert not all(within(rows, turned, TOTAL))


def test_a_group_is_one_factor(sets) -> None:
    """x1 and x3 together: .3139 + 0 + their interaction (.5576 - .3139), with nothing left to share with x2."""
    rows = rows_of(sets, {"pair": ["x1", "x3"], "x2": ["x2"]})
    known = {"pair": 0.5576, "x2": 0.4424}
    assert all(within(rows, known, known))


def test_an_input_that_does_nothing(sets) -> None:
    groups = {"x1": ["x1"], "x2": ["x2"], "x3": ["x3"], "idle": []}
    rows = rows_of(sets, groups)
    assert rows["idle"]["first"] == rows["idle"]["total"] == 0.0


def test_a_target_that_does_not_vary() -> None:
    flat = np.full(64, 3.0)
    rows = drivers.variance_shares(["x"], {"a": flat, "b": flat, "x": flat}, seed=1)
    assert rows == [{"group": "x", "first": 0.0, "first_ci": 0.0, "total": 0.0, "total_ci": 0.0}]


def test_rows_must_be_aligned() -> None:
    with pytest.raises(ValueError, match="same length"):
        drivers.variance_shares(["x"], {"a": np.zeros(8), "b": np.zeros(8), "x": np.zeros(7)}, seed=1)


def test_the_seed_decides_and_is_never_none(sets) -> None:
    """SALib takes a seed of 0 as no seed: the same call must give the same intervals whatever the seed."""
    values = {
        "a": ishigami(**sets["a"])[:256],
        "b": ishigami(**sets["b"])[:256],
        "x1": ishigami(**{**sets["a"], "x1": sets["b"]["x1"]})[:256],
    }
    for seed in (0, 1, 77):
        first, again = (drivers.variance_shares(["x1"], values, seed) for _ in range(2))
        assert first == again
    assert drivers.variance_shares(["x1"], values, 77) != drivers.variance_shares(["x1"], values, 78)
    seeds = {drivers.salib_seed("case", str(k)) for k in range(2000)}
    assert min(seeds) > 0
    assert len(seeds) > 1990


def test_a_tornado_of_a_linear_function() -> None:
    """y = 3 a - b, uniform on (0, 1): the mean over a fifth moves by 0.8 times the coefficient.

    Oracle: algebra: mean input of the fifths .1 and .9. Four standard errors as stated in the row; half of a
    coefficient more (the negative control) is outside.
    """
    rng = np.random.default_rng(8)
    n = 20_000
    inputs = {name: rng.random(n) for name in ("b", "idle", "a")} | {"fixed": np.full(n, 2.0)}
    values = 3.0 * inputs["a"] - inputs["b"]
    rows = drivers.tornado(values, inputs.items())
    assert [row["input"] for row in rows] == ["a", "b", "idle"]  # widest first; a fixed input is left out

    def agrees(row, slope):
        centre = 1.0  # 3/2 - 1/2
        for side, at in (("low", 0.1), ("high", 0.9)):
            expected = centre + slope * (at - 0.5)
            if abs(row[f"{side}_mean_usd"] - expected) > 4.0 * row[f"{side}_se_usd"]:
                return False
        return True

    for row, slope in zip(rows, (3.0, -1.0, 0.0), strict=True):
        assert agrees(row, slope)
        assert not agrees(row, slope + 0.5)
        assert row["low_input"] == pytest.approx(0.1, abs=0.01)
        assert row["high_input"] == pytest.approx(0.9, abs=0.01)
    # the spread of the rest decides the error: of b alone within a's fifths but for a's own spread
    spread = np.sqrt((9.0 * 0.2**2 + 1.0) / 12.0)
    assert rows[0]["low_se_usd"] == pytest.approx(spread / np.sqrt(0.2 * n), rel=0.05)


def test_a_tornado_of_few_values() -> None:
    """A two-valued input is split by its values, whatever their shares; a share of one value is no split."""
    flag = np.repeat([0.0, 1.0], [950, 50])
    values = np.where(flag == 1.0, -5.0, 1.0)
    (row,) = drivers.tornado(values, [("rare", flag)])
    assert (row["low_input"], row["high_input"]) == (0.0, 1.0)
    assert (row["low_mean_usd"], row["high_mean_usd"]) == (1.0, -5.0)
    assert drivers.tornado(values, [("once", (np.arange(1000) == 3).astype(float))]) == []


def test_the_widest_few() -> None:
    rng = np.random.default_rng(2)
    inputs = {f"x{k:02d}": rng.random(400) for k in range(20)}
    values = sum(k * sample for k, sample in enumerate(inputs.values()))
    rows = drivers.tornado(values, inputs.items(), most=5)
    assert len(rows) == 5
    swing = [abs(row["high_mean_usd"] - row["low_mean_usd"]) for row in rows]
    assert swing == sorted(swing, reverse=True)
