"""Whether the answer reckons with jobs that bring nothing: told by `check`; counted once.

Oracle: what the case states.
"""

import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from refracmc.case.load import load_case
from refracmc.case.response_section import Response
from refracmc.case.response_told import by_well, hopeful_sentence, no_response_sentence
from refracmc.commands.check import check_case
from refracmc.errors import InputError
from refracmc.production.uplift import NO_RESPONSE_BETA

ROOT = Path(__file__).parents[2]
Edit = Callable[[str, str, str], None]
UPLIFT = 'uplift = { dist = "lognormal", p90 = 0.2, p10 = 1.0 }'
ZEROS = "uplift = { dist = 'discrete', values = [0, 0.5, 1.0], weights = [2, 1, 1] }"


@pytest.mark.parametrize(
    ("stated", "told"),
    [
        ({}, "assumes that every job responds"),
        ({"no_response_chance": 0.0}, "taken to respond, as the case states"),
        ({"no_response_chance": {"dist": "uniform", "low": 0.3, "high": 0.5}}, "In 40% of trials"),
        ({"uplift": {"dist": "discrete", "values": [0.0, 0.5], "weights": [1, 3]}}, "In 25% of trials"),
    ],
)
def test_what_is_told_follows_the_case(stated: dict[str, object], told: str) -> None:
    assert told in no_response_sentence(Response.model_validate(stated))


@pytest.mark.parametrize("case", ["refracmc/case/templates/case.toml", "configs/demo/case.toml"])
def test_starter_and_demo_state_the_share_on_record(case: str) -> None:
    """Oracle: the share that the record gives, with its interval, as a beta distribution."""
    stated = tomllib.loads((ROOT / case).read_text("utf-8"))["response"]["no_response_chance"]
    assert (stated["dist"], stated["alpha"], stated["beta"]) == ("beta", *NO_RESPONSE_BETA)
    assert stated["source"]


def test_wells_are_named_where_they_differ() -> None:
    assert by_well([("A", "x"), ("B", "x")]) == ("x",)
    assert by_well([("A", "x"), ("B", "y"), ("C", "x")]) == ("A, C: x", "B: y")


def test_what_is_hopeful_is_told_until_it_is_stated() -> None:
    """A key that is stated, at whatever value, is not told; one limit speaks for both."""
    stated: dict[str, object] = {}
    assert hopeful_sentence(Response()).count(";") == 2
    for key, value, left in (("gas_limit_mcf_per_d", 900.0, 1), ("revives_idle", True, 0)):
        stated[key] = value
        told = hopeful_sentence(Response.model_validate(stated))
        assert key not in told
        assert told.count(";") == left
    assert not hopeful_sentence(Response.model_validate({**stated, "uptime": 0.9}))


def test_check_tells_it(edit: Edit, folder: Path) -> None:
    assert "assumes that every job responds" in check_case(folder / "case.toml").text
    edit("case.toml", UPLIFT, f"{UPLIFT}\nno_response_chance = 0.25")
    text = check_case(folder / "case.toml").text
    assert "assumes that every job" not in text
    assert "In 25% of trials" in text


@pytest.mark.parametrize("well", [False, True])
def test_jobs_without_a_response_are_counted_once(well: bool, edit: Edit, folder: Path) -> None:
    """Zeros of the uplift and a chance together are refused, wherever the two stand; a chance of 0 is not."""
    chance = "no_response_chance = 0.3"
    edit("case.toml", UPLIFT, f"{ZEROS}\nno_response_chance = 0.0")
    assert load_case(folder / "case.toml").wells[0].settings.response.zero_uplift_chance == pytest.approx(0.5)
    if well:
        edit("case.toml", '[[wells]]\nid = "A"', f'[[wells]]\nid = "A"\nresponse.{chance}')
        faults = load_case(folder / "case.toml").refused["A"]
    else:
        edit("case.toml", "no_response_chance = 0.0", chance)
        with pytest.raises(InputError) as error:
            load_case(folder / "case.toml")
        faults = error.value.faults
    (fault,) = faults
    assert "no_response_chance" in fault.where
    assert "0 in 50% of its draws" in str(fault)
    assert "dated_jobs_responders" in str(fault)
