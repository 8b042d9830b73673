"""Reading a distribution from a case: what is accepted and what messages say. Oracle: the rules of inputs."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from refracmc.sampling.distributions import (
    KINDS,
    Bernoulli,
    Beta,
    Discrete,
    Distribution,
    Empirical,
    Fixed,
    LogNormal,
    Normal,
    Pert,
    SpecError,
    Triangular,
    Truncated,
    Uniform,
    from_spec,
)

GOOD: list[tuple[object, Distribution]] = [
    (3, Fixed(3.0)),
    (2.5, Fixed(2.5)),
    (Fixed(1.0), Fixed(1.0)),
    ({"dist": "fixed", "value": 7}, Fixed(7.0)),
    ({"dist": "normal", "mean": 1, "sd": 2}, Normal(1.0, 2.0)),
    ({"dist": "normal", "p90": 1, "p10": 3}, Normal.from_p90_p10(1.0, 3.0)),
    ({"dist": "normal", "mean": 1, "sd": 0}, Fixed(1.0)),
    ({"dist": "lognormal", "p90": 1, "p10": 3}, LogNormal.from_p90_p10(1.0, 3.0)),
    ({"dist": "lognormal", "p90": 2, "p10": 2}, Fixed(2.0)),
    ({"dist": "lognormal", "mean": 1, "sd": 3}, LogNormal.from_mean_sd(1.0, 3.0)),
    ({"dist": "lognormal", "median": 2, "log_sd": 0.5}, LogNormal(math.log(2.0), 0.5)),
    ({"dist": "lognormal", "median": 2, "log_sd": 0.0}, Fixed(2.0)),
    ({"dist": "triangular", "low": 1, "mode": 2, "high": 3}, Triangular(1.0, 2.0, 3.0)),
    ({"dist": "pert", "low": 1, "mode": 1, "high": 3}, Pert(1.0, 1.0, 3.0)),
    ({"dist": "pert", "low": 1, "mode": 1, "high": 1}, Fixed(1.0)),
    ({"dist": "uniform", "low": 1, "high": 3}, Uniform(1.0, 3.0)),
    ({"dist": "uniform", "low": 1, "high": 3, "max": 2}, Uniform(1.0, 2.0)),
    ({"dist": "beta", "alpha": 2, "beta": 3}, Beta(2.0, 3.0)),
    ({"dist": "beta", "alpha": 2, "beta": 3, "low": -1, "high": 5}, Beta(2.0, 3.0, -1.0, 5.0)),
    ({"dist": "beta", "alpha": 2, "beta": 3, "min": 0, "max": 1}, Beta(2.0, 3.0)),
    ({"dist": "bernoulli", "p": 0.25}, Bernoulli(0.25)),
    ({"dist": "discrete", "values": [2, 1], "weights": [3, 1]}, Discrete((1.0, 2.0), (1.0, 3.0))),
    ({"dist": "discrete", "values": [2, 1], "weights": [3, 1], "min": 1.5}, Discrete((2.0,), (3.0,))),
    ({"dist": "empirical", "values": [2, 1, 2]}, Empirical((1.0, 2.0, 2.0))),
    ({"dist": "empirical", "values": [2, 1, 9], "max": 5}, Empirical((1.0, 2.0))),
    ({"dist": "normal", "mean": 1, "sd": 2, "min": 0}, Truncated(Normal(1.0, 2.0), 0.0, math.inf)),
]


@pytest.mark.parametrize(("spec", "expected"), GOOD, ids=lambda x: str(x)[:60])
def test_accepted(spec: object, expected: Distribution) -> None:
    assert from_spec(spec, "x") == expected


def test_every_kind_is_tried_above() -> None:
    assert {d.kind for _, d in GOOD} - {"truncated"} == set(KINDS)


BAD: list[tuple[object, list[tuple[str, str, str, str]]]] = [
    # spec, then for each problem: key, part of found, part of allowed, part of remedy
    (True, [("", "true", "a number or a table", "dist is one of")]),
    ("0.3", [("", "'0.3'", "a number or a table", "")]),
    (float("nan"), [("", "nan", "a finite number", "")]),
    (None, [("", "nothing", "a number or a table", "")]),
    (
        {"dist": "lognorml", "p90": 1},
        [(".dist", "'lognorml'", "lognormal, triangular", "did you mean 'lognormal'?")],
    ),
    ({"dist": 3}, [(".dist", "3", "fixed, normal", "name the kind")]),
    ({"distribution": "normal"}, [(".dist", "nothing", "fixed, normal", "'distribution' is written 'dist'")]),
    (
        {"dist": "pert", "low": 1, "mod": 2, "high": 3},
        [
            (".mod", "2", "low, mode, high, min, max", "did you mean 'mode'?"),
            (".mode", "nothing", "low and mode", "add mode"),
        ],
    ),
    ({"dist": "normal", "mean": 1}, [(".sd", "nothing", "mean and sd; or p90 and p10", "add sd")]),
    (
        {"dist": "normal", "mean": 1, "sd": 1, "p90": 0},
        [(".p90", "0", "mean and sd; or p90 and p10", "one of these")],
    ),
    (
        {"dist": "normal", "p90": 3, "p10": 1},
        [(".p90", "3 with p10 1", "p90 at most p10", "P90 is the low one")],
    ),
    ({"dist": "normal", "mean": 1, "sd": -1}, [(".sd", "-1", "0 or above", "")]),
    (
        {"dist": "normal", "mean": "1", "sd": True},
        [(".mean", "'1'", "finite", "quotes"), (".sd", "true", "finite", "")],
    ),
    (
        {"dist": "normal", "mean": 0, "sd": 1, "min": 3, "max": 2},
        [(".min", "3 with max 2", "min below max", "")],
    ),
    ({"dist": "normal", "mean": 0, "sd": 1, "min": 30}, [(".min", "30", "millionth", "keeps 0 of itself")]),
    ({"dist": "normal", "mean": 5, "sd": 0, "max": 2}, [(".max", "2", "holds the value 5", "")]),
    ({"dist": "lognormal", "p90": 0, "p10": 1}, [(".p90", "0", "above 0", "normal or triangular")]),
    ({"dist": "lognormal", "mean": -1, "sd": 1}, [(".mean", "-1", "above 0", "")]),
    ({"dist": "lognormal", "median": 1, "log_sd": -1}, [(".log_sd", "-1", "0 or above", "")]),
    (
        {"dist": "triangular", "low": 1, "mode": 5, "high": 3},
        [(".mode", "5 with high 3", "mode at most high", "")],
    ),
    ({"dist": "uniform", "low": 4, "high": 3}, [(".low", "4 with high 3", "low at most high", "")]),
    (
        {"dist": "beta", "alpha": 0, "beta": -1},
        [(".alpha", "0", "above 0", ""), (".beta", "-1", "above 0", "")],
    ),
    ({"dist": "beta", "alpha": 1, "beta": 1, "low": 1}, [(".low", "1", "below high (1)", "")]),
    ({"dist": "bernoulli", "p": 1.5}, [(".p", "1.5", "0 to 1", "fraction")]),
    ({"dist": "bernoulli", "p": 0.5, "max": 1}, [(".max", "1", "for bernoulli: p", "remove it")]),
    (
        {"dist": "discrete", "values": [1, 2], "weights": [1]},
        [(".weights", "1 weights for 2 values", "one weight", "")],
    ),
    (
        {"dist": "discrete", "values": [1, 2], "weights": [0, 0]},
        [(".weights", "[0.0, 0.0]", "not all 0", "")],
    ),
    (
        {"dist": "discrete", "values": [1], "weights": [1], "min": 2},
        [(".min", "2", "the values, 1 to 1", "")],
    ),
    ({"dist": "empirical", "values": []}, [(".values", "[]", "at least one", "")]),
    ({"dist": "empirical", "values": [1, "x"]}, [(".values[1]", "'x'", "finite", "")]),
    ({"dist": "empirical", "values": [1], "column": "x"}, [(".column", "'x'", "only beside file", "")]),
    ({"dist": "empirical", "file": "absent.csv"}, [(".file", "'absent.csv'", "readable", "")]),
]


@pytest.mark.parametrize(("spec", "problems"), BAD, ids=lambda x: str(x)[:60])
def test_refused_with_key_found_allowed_and_remedy(
    spec: object, problems: list[tuple[str, str, str, str]], tmp_path: Path
) -> None:
    with pytest.raises(ValueError) as caught:
        from_spec(spec, "response.uplift", tmp_path)
    assert isinstance(caught.value, SpecError)
    got = caught.value.problems
    assert len(got) == len(problems), str(caught.value)
    for ours, (key, found, allowed, remedy) in zip(got, problems, strict=True):
        assert ours.where == f"response.uplift{key}"
        assert found in ours.found
        assert allowed in ours.allowed
        assert remedy in ours.remedy
    assert str(caught.value).count("\n") == len(problems) - 1


def test_file_forms(tmp_path: Path) -> None:
    (tmp_path / "plain.txt").write_text("3\n1\n\n2\n")
    (tmp_path / "headed.csv").write_text("\ufeffuplift\n3\n1\n", encoding="utf-8")
    (tmp_path / "two.csv").write_text("well,uplift\nA,0.4\nB,0.6\n")
    spec = {"dist": "empirical"}
    assert from_spec({**spec, "file": "plain.txt"}, "x", tmp_path) == Empirical((1.0, 2.0, 3.0))
    assert from_spec({**spec, "file": "headed.csv", "min": 2}, "x", tmp_path) == Empirical((3.0,))
    assert from_spec({**spec, "file": "two.csv", "column": "uplift"}, "x", str(tmp_path)) == Empirical(
        (0.4, 0.6)
    )


def test_file_faults(tmp_path: Path) -> None:
    (tmp_path / "two.csv").write_text("well,uplift\nA,0.4\nB,nan\nC\n")
    (tmp_path / "empty.csv").write_text("uplift\n")
    spec = {"dist": "empirical", "file": "two.csv"}
    with pytest.raises(SpecError, match="several columns"):
        from_spec(spec, "x", tmp_path)
    with pytest.raises(SpecError, match=r"x\.column: found 'uplfit'; .*did you mean 'uplift'"):
        from_spec({**spec, "column": "uplfit"}, "x", tmp_path)
    with pytest.raises(SpecError, match="row 3") as caught:
        from_spec({**spec, "column": "uplift"}, "x", tmp_path)
    assert "row 4" in str(caught.value)
    with pytest.raises(SpecError, match="no numbers"):
        from_spec({**spec, "file": "empty.csv"}, "x", tmp_path)
    with pytest.raises(SpecError, match="a text in quotes"):
        from_spec({**spec, "file": 3}, "x", tmp_path)


def test_listed_values_are_the_sample_itself() -> None:
    d = from_spec({"dist": "empirical", "values": [4, 1, 2]}, "x")
    assert set(d.ppf(np.linspace(0.01, 0.99, 99)).tolist()) == {1.0, 2.0, 4.0}
