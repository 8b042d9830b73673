"""Sizes of the job through the engine. Oracles: the case without sizes, and algebra."""

from pathlib import Path

import numpy as np
import pytest

from refracmc.case.load import load_case
from refracmc.case.response_told import response_told
from refracmc.engine.draws import draw
from refracmc.engine.one_trial import evaluate_one
from refracmc.engine.plan import WellPlan, build_plan
from refracmc.engine.valuation import evaluate
from tests.second_route.awkward_choices import CHOICES

SIZED, TALLY = CHOICES["sizes of the job"]
BEGIN = SIZED.index("[strategies.sizes")
END = SIZED.index("[strategies.triggers")


def plan_of(folder: Path, text: str) -> WellPlan:
    folder.mkdir(exist_ok=True)
    (folder / "case.toml").write_text(text, "utf-8")
    (folder / "sleeves.csv").write_text(TALLY, "utf-8")
    case = load_case(folder / "case.toml")
    return build_plan(case, case.wells[0], 0, None)


def sized(table: str) -> str:
    return SIZED[:BEGIN] + table + SIZED[END:]


def test_the_reference_is_the_case_without_sizes_to_the_bit(tmp_path: Path) -> None:
    """By factor. Negative control: a factor of 1.01 is another job."""
    plain = plan_of(tmp_path / "plain", sized(""))
    expected = evaluate(plain, draw(plain, 0, 64))
    for factor, same in ((1, True), (1.01, False)):
        plan = plan_of(tmp_path / f"f{factor}", sized(f"[strategies.sizes.base]\nfactor = {factor}\n"))
        assert plan.names[1] == plain.names[1].replace("@", "+base@")
        found = evaluate(plan, draw(plan, 0, 64))
        alike = [
            np.array_equal(values, found.measures[name], equal_nan=True)
            for name, values in expected.measures.items()
        ] + [np.array_equal(values, found.parts[name]) for name, values in expected.parts.items()]
        assert all(alike) is same


def test_amounts_of_the_reference_are_the_reference(tmp_path: Path) -> None:
    """600 lb/ft over 150 ft; the mean water of a stage is 1,200 bbl: both over the reference are 1 exactly."""
    table = "[strategies.sizes.base]\nproppant_lb_per_stage = 90000\nfluid_bbl_per_ft = 8\n"
    one, other = plan_of(tmp_path / "a", sized("")), plan_of(tmp_path / "b", sized(table))
    a, b = (evaluate(plan, draw(plan, 0, 32)).measures["npv"] for plan in (one, other))
    np.testing.assert_array_equal(a, b)


def test_nothing_pumped_gives_nothing_and_buys_nothing(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, SIZED)
    draws = draw(plan, 0, 128)
    for strategy in (s for s in plan.dated if s.size == "none"):
        one = evaluate_one(plan, draws, strategy)
        assert not one.cash.details.new_rate.any()
        assert not one.outcome.effective_share.any()
        for part in ("materials", "water", "load_disposal"):
            assert not one.parts[part].any()
        assert (one.outcome.cost > 0.0).all()  # the crews still come
    chosen = [s for s in plan.dated if s.size == "light"]
    assert evaluate_one(plan, draws, chosen[0]).cash.details.new_rate.any()


def test_a_larger_job_responds_more_and_costs_more(tmp_path: Path) -> None:
    """Twice the reference against less of it, on the same draws: rate before the cap, cost, days and water."""
    plan = plan_of(tmp_path, SIZED)
    draws = draw(plan, 0, 128)
    light, double = (
        next(s for s in plan.dated if s.size == size and s.order == "toe_to_heel")
        for size in ("light", "double")
    )
    small, large = (evaluate_one(plan, draws, strategy) for strategy in (light, double))
    some = small.outcome.effective_share > 0.0
    assert some.any()
    assert (large.outcome.effective_share[some] > small.outcome.effective_share[some]).all()
    assert (large.outcome.effective_share[some] < 2.0 / 0.3 * small.outcome.effective_share[some]).all()
    assert (large.outcome.cost[some] > small.outcome.cost[some]).all()
    assert (large.outcome.days[some] > small.outcome.days[some]).all()
    np.testing.assert_allclose(large.parts["water"], 2.0 * small.parts["water"], rtol=1e-12)


def test_the_reader_hears_what_size_does(tmp_path: Path) -> None:
    """A case without sizes, and one whose materials cannot buy its proppant; one in order says nothing of it."""

    def told(text: str) -> str:
        return " ".join(response_told([plan_of(tmp_path, text).well]))

    first = SIZED.index("[job.size]")
    none = SIZED[:first] + SIZED[SIZED.index("[strategies]") : BEGIN] + SIZED[END:]
    assert "Job size does not reach the response" in told(none)
    assert "All jobs have the size" in told(sized(""))
    assert "size" not in told(SIZED)
    cheap = SIZED.replace("[job.cost]\n", "[job.cost]\nstage_materials_usd = 1\n")
    assert "90,000 lb, is paid with US$ 1 " in told(cheap)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[strategies.sizes.double]\nfactor = 2\n", "[strategies.sizes.double]\n", "no size"),
        ("factor = 2\n", "factor = 2\nfluid_bbl_per_stage = 3\n", "factor beside fluid_bbl_per_stage"),
        ("factor = 2\n", "fluid_bbl_per_stage = 0\n", "proppant without fluid"),
        ("[strategies.sizes.double]", "[strategies.sizes.2x]", "the name '2x'"),
        ("ft_per_stage = 150\n", "", "proppant_lb_per_ft without it"),
        ("high = 0.6}", "high = 0.8}", "up to 1.1 together"),
        ("proppant_lb_per_ft = 600", "proppant_lb_per_stage = 600", "per foot without job.size.ft_per_stage"),
    ],
)  # fmt: skip
def test_faults_of_sizes(tmp_path: Path, old: str, new: str, said: str) -> None:
    from refracmc.errors import InputError

    text = SIZED.replace(old, new)
    if "per foot" in said:
        text = text.replace("ft_per_stage = 150\n", "")
    with pytest.raises(InputError) as caught:
        plan_of(tmp_path, text)
    assert said in str(caught.value)
