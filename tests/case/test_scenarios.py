"""Scenarios of a case: which keys go over which, and what is wrong with one, said by its key.

Oracle: the same case with the scenario's keys written out by hand, and the house rule on errors.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from refracmc.case.correlated_pairs import pairs_told
from refracmc.case.load import SHARED, load_case
from refracmc.case.scenarios import FIXED, SECTIONS, changed_keys
from refracmc.case.uncertain_inputs import inputs_of
from refracmc.commands.check import check_case
from refracmc.errors import InputError
from tests.system import reading
from tests.system.small_case import CASE, TALLY, changed, write_case

LOW = """
[scenarios.low.prices]
oil_usd_per_bbl = 45.0
gas_usd_per_mcf = 2.0
[scenarios.low.interests]
working = 0.85
[scenarios.low.job]
close_chance = 0.8
"""


def test_the_scenario_is_the_case_with_its_keys_written_out(tmp_path: Path) -> None:
    """Shared keys, a well's own key, a deck that gives way to flat prices."""
    case = load_case(write_case(tmp_path / "case", CASE + LOW))
    by_hand = load_case(
        write_case(
            tmp_path / "hand",
            changed(
                CASE,
                ('deck_file = "prices.csv"', "oil_usd_per_bbl = 45.0\ngas_usd_per_mcf = 2.0"),
                ('close_chance = { dist = "beta", alpha = 18, beta = 2 }', "close_chance = 0.8"),
                ("[wells.interests]\nworking = 0.9", "[wells.interests]\nworking = 0.85"),
                ('forecast = "type_curve"\n', 'forecast = "type_curve"\ninterests = { working = 0.85 }\n'),
            ),
        )
    )
    (low,) = case.scenarios
    assert low.name == "low"
    for one, other in zip(low.case.wells, by_hand.wells, strict=True):
        assert one.settings == other.settings
        assert [v.distribution.describe() for v in inputs_of(low.case, one)] == [
            v.distribution.describe() for v in inputs_of(by_hand, other)
        ]
    assert low.case.prices == by_hand.prices
    assert low.case.deck.monthly("2026-10", 24)[0].tolist() == [45.0] * 24
    assert case.wells[0].settings.interests.working == 0.9
    assert case.prices.deck_file == "prices.csv"
    assert dict(changed_keys(low)) == {
        "prices.oil_usd_per_bbl": 45.0,
        "prices.gas_usd_per_mcf": 2.0,
        "interests.working": 0.85,
        "job.close_chance": 0.8,
    }


def test_a_key_in_other_units_goes_over_its_twin(tmp_path: Path) -> None:
    """1 US$/bbl is 6.2898 US$/m3; the well states the one, the scenario the other."""
    text = (
        CASE + "[wells.opex]\nwater_usd_per_bbl = 3.0\n[scenarios.dry.opex]\nwater_usd_per_m3 = 6.2898108\n"
    )
    case = load_case(write_case(tmp_path, text))
    found = [well.settings.opex.water_usd_per_bbl.mean() for well in case.scenarios[0].case.wells]
    assert found == pytest.approx([1.0, 1.0], rel=1e-6)
    assert case.wells[1].settings.opex.water_usd_per_bbl.mean() == 3.0


FAULTS: dict[str, tuple[str, str, str, str]] = {
    "no table": ("scenarios = 3\n", "scenarios", "3", "tables with a name"),
    "no keys": ("[scenarios.a]\n", "scenarios.a", "no keys", "tables of keys"),
    "name": ("[scenarios.'a b'.job]\nopen_chance = 0.9\n", "scenarios.a b", "'a b'", "letters, digits"),
    "base": ("[scenarios.base.job]\nopen_chance = 0.9\n", "scenarios.base", "'base'", "not base"),
    "section": ("[scenarios.a.jib]\nopen_chance = 0.9\n", "scenarios.a.jib", "'jib'", "'job'"),
    "sampling": ("[scenarios.a.sampling]\nseed = 3\n", "scenarios.a.sampling", "in common", "prices"),
    "wells": ("[scenarios.a.wells]\nid = 3\n", "scenarios.a.wells", "'wells'", "prices"),
    "unknown key": (
        "[scenarios.a.job]\nopen_chanse = 0.9\n",
        "scenarios.a.job.open_chanse",
        "unknown key",
        "'open_chance'",
    ),
    "range": (
        "[scenarios.a.job]\nopen_chance = 1.9\n",
        "scenarios.a.job.open_chance",
        "1.9",
        "above 0 and up to 1",
    ),
    "one flat price": (
        "[scenarios.a.prices]\noil_usd_per_bbl = 50\n",
        "scenarios.a.prices.gas_usd_per_mcf",
        "neither a deck file nor",
        "both flat prices",
    ),
}


@pytest.mark.parametrize("which", FAULTS)
def test_faults(which: str, tmp_path: Path) -> None:
    text, where, found, also = FAULTS[which]
    before = which == "no table"
    written = text + CASE if before else CASE + text
    with pytest.raises(InputError) as error:
        load_case(write_case(tmp_path, written))
    (fault,) = error.value.faults
    assert fault.where == f"case.toml: {where}"
    assert found in fault.found
    assert also in str(fault)
    named = [k for k, line in enumerate(text.splitlines()) if line.startswith(where.rpartition(".")[2])]
    assert fault.line == (1 if before else CASE.count("\n") + 1 + max(named, default=0))


def test_all_faults_at_once(tmp_path: Path) -> None:
    """Those of the case once, then those of each scenario; negative control of the dropping of doubled ones."""
    text = changed(CASE, ("open_chance = 0.95", "open_chance = 9"))
    text += "[scenarios.a.job]\nreopen_chance = 5\n[scenarios.b.opex]\nwater_usd_per_bbl = -1\n"
    with pytest.raises(InputError) as error:
        load_case(write_case(tmp_path, text))
    assert [fault.where.removeprefix("case.toml: ") for fault in error.value.faults] == [
        "job.open_chance",
        "scenarios.a.job.reopen_chance",
        "scenarios.b.opex.water_usd_per_bbl",
    ]


def test_a_fixed_input_leaves_its_correlation(tmp_path: Path) -> None:
    text = CASE + "[scenarios.known.response]\nuplift = 0.5\n"
    path = write_case(tmp_path / "one", text)
    told = pairs_told(load_case(path).scenarios[0].case)
    assert len(told) == 1
    assert "dependence.pairs[1] is left out" in told[0]
    report = check_case(path).text
    assert "scenario known: response.uplift = 0.5" in report
    assert f"scenario known: correlation: {told[0]}" in report
    restated = text + '[scenarios.known.dependence]\npairs = [{ a = "response.uplift", b = "response.b", '
    with pytest.raises(InputError) as error:  # a pair of its own that comes to nothing is a fault
        load_case(write_case(tmp_path / "two", restated + "rank_correlation = 0.2 }]\n"))
    assert error.value.faults[0].where == "case.toml: scenarios.known.dependence.pairs[1].a"


def test_a_well_that_cannot_run_under_a_scenario(tmp_path: Path) -> None:
    """Its sleeves lie below the toe of the scenario: it runs in the case, and is listed with the scenario."""
    shallow = [line for line in TALLY.splitlines() if not line.startswith("B")]
    shallow += [f"B,{k},{10_500 - 200 * k},packer,2024-05,open,1,2020-01" for k in range(1, 9)]
    tally = "\n".join(shallow) + "\n"
    text = CASE + "[scenarios.short.completion]\ntoe_md_ft = 11000\n"
    path = write_case(tmp_path, text, sleeves=tally)
    case = load_case(path)
    assert [well.id for well in case.wells] == ["A", "B"]
    assert [well.id for well in case.scenarios[0].case.wells] == ["B"]
    (refused,) = check_case(path).refused.items()
    assert refused[0] == "A in scenario short"
    assert "(in scenario short)" in refused[1][0].found


def test_every_section_is_one_that_may_change_or_one_in_common() -> None:
    """A section that is added is put on one of the two lists; the reference names those that may change."""
    assert {*SECTIONS, *FIXED} == set(SHARED)
    told = reading.topic_text("case").partition("## [scenarios.NAME]")[2].partition("\n## ")[0]
    assert set(SECTIONS) <= set(re.findall(r"`(\w+)`", told))
