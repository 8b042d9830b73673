"""What a sound case becomes: merged sections, variables, strategies, files, units.

Oracles: algebra (unit conversions from exact definitions, dates counted by hand) and two routes to one case
(SI and field units, CSV and Parquet, stated and defaulted).
"""

from __future__ import annotations

import hashlib
import pickle
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from refracmc.case import key_rules, units
from refracmc.case.fixed_inputs import plain_inputs
from refracmc.case.load import SHARED, load_case
from refracmc.case.load_well import OWN
from refracmc.case.merging import merge
from refracmc.case.starter import STARTER_FILES, write_starter
from refracmc.case.uncertain_inputs import SHARED_NAMES, inputs_of, variable_names
from refracmc.case.well_strategies import dated_strategies, order_sleeves
from refracmc.errors import Fault, InputError

Edit = Callable[[str, str, str], None]
DEMO = Path(__file__).parents[2] / "configs" / "demo"


def test_units_are_the_exact_ones() -> None:
    """Published definitions: 1 bbl = 42 US gallons = 0.158987294928 m3; 1 psi = 6.894757293168 kPa."""
    assert pytest.approx(0.158987294928, rel=1e-13) == units.M3_PER_BBL
    assert pytest.approx(0.028316846592, rel=1e-13) == units.E3M3_PER_MCF
    assert pytest.approx(6.894757293168361, rel=1e-13) == units.KPA_PER_PSI
    assert pytest.approx(1.4881639435695537, rel=1e-13) == units.KG_M_PER_LB_FT


def test_months() -> None:
    assert units.months_between("2026-10", "2027-01") == 3
    assert units.month_text(units.month_number("2026-12") + 1) == "2027-01"
    days = [
        units.days_in_month(units.month_number(m))
        for m in ("2024-02", "2023-02", "1900-02", "2000-02", "2026-04")
    ]
    assert days == [29, 28, 28, 29, 30]


def test_a_wells_keys_stand_over_the_shared_ones(edit: Edit, folder: Path) -> None:
    edit(
        "case.toml",
        "close_chance = 0.9",
        'close_chance = 0.9\nopen_chance = { dist = "beta", alpha = 9, beta = 1 }',
    )
    edit(
        "case.toml",
        'id = "B"',
        'id = "B"\n[wells.job]\nopen_chance = { dist = "uniform", low = 0.5, high = 0.9 }\n'
        "[wells.job.cost]\ntrip_usd = 7\n"
        '[wells.strategies]\norders = ["two_pass"]',
    )
    text = (folder / "case.toml").read_text()
    tail = 'history = "history.csv"\ntally = "sleeves.csv"\n'
    head, _, last = text.rpartition(tail)
    (folder / "case.toml").write_text(head.replace('id = "B"\n', 'id = "B"\n' + tail) + last)
    a, b = load_case(folder / "case.toml").wells
    assert a.settings.job.close_chance.mean() == b.settings.job.close_chance.mean() == 0.9
    assert a.settings.job.open_chance.mean() == pytest.approx(0.9)
    assert b.settings.job.open_chance.support() == (0.5, 0.9)
    assert (a.settings.job.cost.trip_usd.mean(), b.settings.job.cost.trip_usd.mean()) == (12_000, 7)
    assert b.settings.job.cost.mobilisation_usd.mean() == 200_000
    assert a.settings.strategies.orders == ("toe_to_heel", "mine")
    assert b.settings.strategies.orders == ("two_pass",)
    assert b.settings.strategies.months == a.settings.strategies.months


def test_merge_replaces_distributions_whole() -> None:
    below = {
        "x": {"dist": "beta", "alpha": 1, "beta": 2},
        "cost": {"a": 1, "b": 2},
        "depth_m": 3,
        "l": [1, 2],
    }
    own = {"x": {"dist": "uniform", "low": 0, "high": 1}, "cost": {"b": 3}, "depth_ft": 9, "l": [5]}
    assert merge(below, own) == {**own, "cost": {"a": 1, "b": 3}}


def test_variables_have_scope_group_unit_and_source(edit: Edit, folder: Path) -> None:
    edit("case.toml", "p10 = 1.0 }", 'p10 = 1.0, source = "look-back 2025" }')
    edit("case.toml", "[job.cost]", '[job.cost]\ntrip_usd = { dist = "fixed", value = 9, source = "quote" }')
    case = load_case(folder / "case.toml")
    variables = {v.name: v for v in inputs_of(case, case.wells[0])}
    assert set(variables) <= set(variable_names())
    for name, variable in variables.items():
        shared = name.startswith(("prices.", "opex.", "job.cost.")) or name in SHARED_NAMES
        assert variable.scope == ("" if shared else "A"), name
    settings = case.wells[0].settings
    assert variables["job.cost.trip_usd"].distribution is settings.job.cost.trip_usd
    groups = {
        "job.close_chance": "job",
        "job.cost.trip_usd": "costs",
        "opex.oil_usd_per_bbl": "costs",
        "response.uplift": "response",
        "stress.limit_strength": "response",
        "prices.oil_level": "prices",
    }
    assert {name: variables[name].group for name in groups} == groups
    sources = {name: variable.source for name, variable in variables.items()}
    assert sources["response.uplift"] == "look-back 2025"
    assert sources["job.cost.trip_usd"] == "quote"
    assert sources["job.close_chance"] == "stated in the case (invented)"
    assert sources["job.open_chance"] == "assumption"
    assert "SPE-173340-MS" in sources["response.depletion_exponent"]


def test_names_are_stable_and_unique() -> None:
    names = variable_names()
    assert len(names) == len(set(names))
    assert {"response.uplift", "job.cost.service_index_beta", "type_curve.b", "response.ultimate"} <= set(
        names
    )


def test_every_key_is_described_with_unit_and_source() -> None:
    def walk(model: type[key_rules.Section]) -> None:
        for name, info in model.model_fields.items():
            rule = key_rules.rule_of(model, name)
            assert rule["text"], name
            assert info.description
            if not info.is_required():
                assert rule["source"], name
            if rule["kind"] in ("uncertain", "number") and name.endswith(
                ("_usd", "_psi", "_ft", "_days", "_hours")
            ):
                assert rule["unit"], name

    for model in (*SHARED.values(), *OWN.values()):
        walk(model)


def test_strategies_count_months_from_the_valuation(folder: Path) -> None:
    case = load_case(folder / "case.toml")
    well = case.wells[0]
    assert [(s.name, s.order, s.month, s.date) for s in dated_strategies(case, well)] == [
        ("toe_to_heel@2027-01", "toe_to_heel", 3, "2027-01"),
        ("mine@2027-01", "mine", 3, "2027-01"),
        ("toe_to_heel@2028-01", "toe_to_heel", 15, "2028-01"),
        ("mine@2028-01", "mine", 15, "2028-01"),
    ]
    assert order_sleeves(well.settings.strategies, well.tally, "toe_to_heel", None) == (1, 2, 3, 4, 5)
    assert order_sleeves(well.settings.strategies, well.tally, "mine", None) == (1, 3, 2)


def test_date_series(edit: Edit, folder: Path) -> None:
    edit("case.toml", '["2027-01", "2028-01"]', '{ first = "2026-11", every_months = 2, count = 3 }')
    assert load_case(folder / "case.toml").strategies.months == ("2026-11", "2027-01", "2027-03")


def test_files_are_hashed_as_they_stand(folder: Path) -> None:
    files = load_case(folder / "case.toml").files
    assert set(files) == {"case.toml", "history.csv", "sleeves.csv", "prices.csv"}
    for name, digest in files.items():
        assert digest == hashlib.sha256((folder / name).read_bytes()).hexdigest()


def test_file_of_a_distribution_is_hashed(edit: Edit, folder: Path) -> None:
    (folder / "uplift.csv").write_text("uplift\n" + "\n".join(f"0.{k}" for k in range(1, 10)) + "\n")
    edit("case.toml", 'dist = "lognormal", p90 = 0.2, p10 = 1.0', 'dist = "empirical", file = "uplift.csv"')
    assert "uplift.csv" in load_case(folder / "case.toml").files


def test_case_travels_to_a_worker(folder: Path) -> None:
    case = load_case(folder / "case.toml")
    again = pickle.loads(pickle.dumps(case))
    u = np.linspace(0.01, 0.99, 7)
    for before, after in zip(inputs_of(case, case.wells[0]), inputs_of(again, again.wells[0]), strict=True):
        np.testing.assert_array_equal(after.distribution.ppf(u), before.distribution.ppf(u))
        assert (after.name, after.source) == (before.name, before.source)


def test_si_and_field_units_are_one_case(folder: Path, edit: Edit) -> None:
    """Two unit systems agree: the same wells in m3, 1000 m3, m and US$/m3 give the same arrays to 1e-9."""
    edit("case.toml", "[response]", "[opex]\noil_usd_per_bbl = 4\n[response]")
    field = load_case(folder / "case.toml")
    history = pd.read_csv(folder / "history.csv")
    history["oil_m3"] = history.pop("oil_bbl") * 0.158987294928
    history["gas_e3m3"] = history.pop("gas_mcf") * 0.028316846592
    history["water_m3"] = history.pop("water_bbl") * 0.158987294928
    history.to_csv(folder / "history.csv", index=False)
    tally = pd.read_csv(folder / "sleeves.csv")
    tally["depth_m"] = tally.pop("depth_ft") * 0.3048
    tally.to_csv(folder / "sleeves.csv", index=False)
    prices = pd.read_csv(folder / "prices.csv")
    prices["oil_usd_per_m3"] = prices.pop("oil_usd_per_bbl") / 0.158987294928
    prices["gas_usd_per_e3m3"] = prices.pop("gas_usd_per_mcf") / 0.028316846592
    prices.to_csv(folder / "prices.csv", index=False)
    edit("case.toml", "toe_md_ft = 12000", "toe_md_m = 3657.6")
    edit("case.toml", "oil_usd_per_bbl = 4", f"oil_usd_per_m3 = {4 / 0.158987294928!r}")
    si = load_case(folder / "case.toml")
    for one, other in zip(field.wells, si.wells, strict=True):
        assert one.history is not None
        assert other.history is not None
        for phase in ("oil", "gas", "water"):
            np.testing.assert_allclose(other.history.volume(phase), one.history.volume(phase), rtol=1e-9)
        np.testing.assert_allclose(other.tally.depth_ft, one.tally.depth_ft, rtol=1e-9)
        assert other.settings.opex.oil_usd_per_bbl.mean() == pytest.approx(4, rel=1e-12)
    np.testing.assert_allclose(si.deck.oil, field.deck.oil, rtol=1e-9)
    np.testing.assert_allclose(si.deck.gas, field.deck.gas, rtol=1e-9)
    assert si.wells[0].settings.completion.toe_md_ft == pytest.approx(12_000, rel=1e-12)


def test_si_twin_of_a_distribution(edit: Edit, folder: Path) -> None:
    edit(
        "case.toml",
        "[response]",
        '[opex]\nwater_usd_per_m3 = { dist = "lognormal", median = 10, log_sd = 0.5 }\n[response]',
    )
    made = load_case(folder / "case.toml").wells[0].settings.opex.water_usd_per_bbl
    low, middle = made.ppf(np.array([0.1, 0.5]))
    assert middle == pytest.approx(10 * units.M3_PER_BBL, rel=1e-12)
    assert low == pytest.approx(middle * np.exp(-0.5 * 1.2815515655446004), rel=1e-12)


def test_parquet_is_csv(folder: Path, edit: Edit) -> None:
    plain = load_case(folder / "case.toml")
    frame = pd.read_csv(folder / "history.csv", dtype={"well_id": str})
    frame["date"] = pd.to_datetime(frame["date"])
    frame.to_parquet(folder / "history.parquet")
    path = folder / "case.toml"
    path.write_text(path.read_text().replace("history.csv", "history.parquet"))
    other = load_case(path)
    for one, two in zip(plain.wells, other.wells, strict=True):
        assert one.history is not None
        assert two.history is not None
        assert one.history.notes == two.history.notes
        for name in ("dates", "oil", "gas", "water", "days_on"):
            assert np.array_equal(
                getattr(one.history, name), getattr(two.history, name), equal_nan=name != "dates"
            )


def test_blank_volume_is_a_month_not_declared(edit: Edit, folder: Path) -> None:
    edit("history.csv", "A,2024-06-01,8122", "A,2024-06-01,")
    history = load_case(folder / "case.toml").wells[0].history
    assert history is not None
    assert np.isnan(history.oil[2])
    assert not np.isnan(history.oil[[1, 3]]).any()


def test_deck_is_held_flat(folder: Path) -> None:
    deck = load_case(folder / "case.toml").deck
    oil, gas = deck.monthly("2026-10", 5)
    np.testing.assert_array_equal(oil, [69, 68, 68, 68, 68])
    np.testing.assert_array_equal(gas, [3.1, 3.2, 3.2, 3.2, 3.2])


def test_other_trials_and_seed(folder: Path) -> None:
    case = load_case(folder / "case.toml")
    changed = case.with_sampling(trials=50, seed=0)
    assert (changed.sampling.trials, changed.sampling.seed) == (50, 0)
    assert case.sampling.trials == 1000
    with pytest.raises(InputError) as caught:
        case.with_sampling(trials=0, seed=-1)
    assert len(caught.value.faults) == 2


def test_fault_is_one_line() -> None:
    assert str(Fault("a: b", "1\n2", "x", "y")) == "a: b: found 1 2; allowed: x; y"


def test_starter_runs_as_it_is_and_overwrites_nothing(tmp_path: Path) -> None:
    paths = write_starter(tmp_path / "new" / "case")
    assert [path.name for path in paths] == list(STARTER_FILES)
    case = load_case(paths[0])
    assert not case.refused
    assert case.data_status == "invented"
    assert dated_strategies(case, case.wells[0])
    paths[1].unlink()
    paths[0].write_text("mine")
    with pytest.raises(InputError) as caught:
        write_starter(tmp_path / "new" / "case")
    assert {Path(fault.where).name for fault in caught.value.faults} == set(STARTER_FILES) - {"history.csv"}
    assert paths[0].read_text() == "mine"
    assert not paths[1].exists()
    with pytest.raises(InputError):
        write_starter(paths[0])


def test_demo_is_sound_and_its_script_makes_its_files(tmp_path: Path) -> None:
    case = load_case(DEMO / "case.toml")
    assert not case.refused
    assert len(case.wells) == 3
    assert {well.tally.count for well in case.wells} == {24, 40, 60}
    assert all(len(dated_strategies(case, well)) == 48 for well in case.wells)
    assert any("stuck_open" in well.tally.state for well in case.wells)
    assert case.sampling.trials == 10_000
    subprocess.run([sys.executable, str(DEMO / "make_demo_data.py"), str(tmp_path)], check=True)
    for name in ("history.csv", "sleeves.csv", "prices.csv"):
        assert (tmp_path / name).read_bytes() == (DEMO / name).read_bytes()


def test_key_table_holds_every_variable_and_its_default(folder: Path) -> None:
    from refracmc.case.key_table import key_rows

    rows = {row.path.removeprefix("wells."): row for row in key_rows()}
    apart = ("fit.", "portfolio.")
    uncertain = {path for path, row in rows.items() if row.uncertain and not path.startswith(apart)}
    assert uncertain == set(variable_names())
    assert rows["opex.oil_usd_per_bbl"].default == "4"
    assert rows["valuation.date"].default == "must be stated"
    assert rows["sampling.design"].allowed == "latin_hypercube, plain, sobol"
    assert rows["stress.enabled"].default == "true"
    assert rows["response.uplift"].default == '{dist = "lognormal", p90 = 0.25, p10 = 1.0}'
    assert "fiscal.income_tax.rate" in rows
    assert all(row.source or row.default in ("must be stated", "absent") for row in rows.values())


def test_every_key_that_the_case_states_is_told(folder: Path) -> None:
    """Oracle: the keys of the file itself."""
    path = folder / "case.toml"
    raw = tomllib.loads(path.read_text("utf-8"))
    case = load_case(path)
    well = case.wells[0]
    told = {row.name: row for row in plain_inputs(case, well)}
    drawn = {variable.name: variable.stated for variable in inputs_of(case, well)}
    assert not set(told) & set(drawn)

    def keys(table: dict[str, Any], prefix: str) -> Iterator[tuple[str, Any]]:
        for key, value in table.items():
            if isinstance(value, dict) and "dist" not in value:
                yield from keys(value, f"{prefix}.{key}")
            else:
                yield f"{prefix}.{key}", value

    stated = [pair for name, table in raw.items() if isinstance(table, dict) for pair in keys(table, name)]
    assert len(stated) > 10
    for name, value in stated:
        if value in ([], {}):
            continue
        assert drawn.get(name) or (name in told and told[name].stated), name
        if name in told and isinstance(value, int | float) and not isinstance(value, bool):
            assert float(told[name].value) == pytest.approx(value, rel=1e-9)
    unstated = [row for row in told.values() if not row.stated]
    assert unstated
    assert not {row.name for row in unstated} & {name for name, _ in stated}
