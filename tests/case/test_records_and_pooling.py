"""A shipped record named in a case, and the fits of a case pooled or alone.

Oracles: the record itself, and fits of the same well with and without pooling. Negative controls: wrong names.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from refracmc.case.load import load_case
from refracmc.case.uncertain_inputs import inputs_of
from refracmc.errors import InputError

Edit = Callable[[str, str, str], None]
UPLIFT = '{ dist = "lognormal", p90 = 0.2, p10 = 1.0 }'


def test_a_shipped_record_is_named(edit: Edit, folder: Path) -> None:
    """Oracle: the record itself, its mean and its share without a response."""
    from refracmc.production.uplift import named_uplift

    edit("case.toml", UPLIFT, '{ dist = "empirical", named = "dated_jobs_vertical", max = 5 }')
    case = load_case(folder / "case.toml")
    values, source = named_uplift("dated_jobs_vertical")
    kept = [value for value in values if value <= 5.0]
    read = case.wells[0].settings.response.uplift
    assert read.mean() == pytest.approx(sum(kept) / len(kept))
    assert read.cdf(0.0) == pytest.approx(kept.count(0) / len(kept))
    assert [v.source for v in inputs_of(case, case.wells[0]) if v.name == "response.uplift"] == [source]


@pytest.mark.parametrize(
    ("key", "spec", "told"),
    [
        (UPLIFT, '{ dist = "empirical", named = "dated_jobs" }', "did you mean 'dated_jobs_vertical'"),
        (UPLIFT, '{ dist = "empirical", named = 3 }', "named = 3"),
        (
            UPLIFT,
            '{ dist = "empirical", named = "record_mean_factor" }',
            "dated_jobs_responders, dated_jobs_vertical",
        ),
        (UPLIFT, '{ dist = "normal", named = "dated_jobs_vertical" }', "dated_jobs_vertical"),
        (UPLIFT, '{ dist = "empirical", named = "dated_jobs_vertical", values = [1] }', "leave the others"),
        (
            "close_chance = 0.9",
            'close_chance = { dist = "empirical", named = "dated_jobs_vertical" }',
            "uplift",
        ),
    ],
)
def test_a_wrong_record_is_refused(key: str, spec: str, told: str, edit: Edit, folder: Path) -> None:
    edit("case.toml", key, spec)
    with pytest.raises(InputError) as error:
        load_case(folder / "case.toml")
    assert any(told in str(fault) for fault in error.value.faults), error.value.faults


def test_fits_stand_alone_unless_pooled(edit: Edit, folder: Path) -> None:
    """Alone a fit is the same whatever the others are; pooled, the prior says how many moved it."""
    from refracmc.engine.well_fit import fit_well, pooled_priors

    case = load_case(folder / "case.toml")
    assert not case.fit.pool
    assert pooled_priors(case) == {}
    edit("case.toml", "[[wells]]", "[fit]\npool = true\n\n[[wells]]")
    pooled = load_case(folder / "case.toml")
    assert pooled.fit.pool
    priors = pooled_priors(pooled)
    assert "Moved by 2 wells" in priors["oil"].source
    alone, moved = fit_well(case, case.wells[0]), fit_well(pooled, pooled.wells[0])
    assert alone is not None
    assert moved is not None
    assert (alone.technical_eur != moved.technical_eur).any()


def neighbours(folder: Path, **replaced: str) -> None:
    """Three neighbours as steep again, and a well of the case: the small history under other names."""
    rows = (folder / "history.csv").read_text().splitlines()
    own = [line for line in rows[1:] if line.startswith("A,")]
    text = [rows[0], *own]
    for name in ("N1", "N2", "N3"):
        for line in own:
            cells = line.split(",")
            cells[0], cells[2] = name, f"{float(cells[2]) ** 1.4:.0f}"
            text.append(",".join(cells))
    lines = "\n".join(text) + "\n"
    for old, new in replaced.items():
        assert old in lines
        lines = lines.replace(old, new, 1)
    (folder / "near.csv").write_text(lines)


def test_neighbours_teach_and_are_not_valued(edit: Edit, folder: Path) -> None:
    """Oracle: the steeper decline of the three; months after the end of the case's histories change no bit."""
    from refracmc.engine.well_fit import fit_well, pooled_priors
    from refracmc.production.prior import default_prior

    alone = load_case(folder / "case.toml")
    edit("case.toml", "[[wells]]", '[fit]\nteachers = "near.csv"\n\n[[wells]]')
    neighbours(folder)
    case = load_case(folder / "case.toml")
    assert [well.id for well in case.wells] == ["A", "B"]
    assert [teacher.well_id for teacher in case.teachers] == ["N1", "N2", "N3"]
    assert "near.csv" in case.files
    prior = pooled_priors(case)["oil"]
    form = "modified_hyperbolic"
    assert prior.shapes[form].mean[0] != default_prior("oil").shapes[form].mean[0]
    assert prior.taught.startswith("3 wells of the field")
    first, moved = fit_well(alone, alone.wells[0]), fit_well(case, case.wells[0])
    assert first is not None
    assert moved is not None
    assert (first.technical_eur != moved.technical_eur).any()
    assert "alone" in first.diagnostics["taught"]
    assert "3 wells of the field" in moved.diagnostics["taught"]
    with (folder / "near.csv").open("a") as file:
        file.write("N3,2026-10-01,999999,1,1,28\nN3,2027-01-01,0,0,0,0\n")
    assert pooled_priors(load_case(folder / "case.toml"))["oil"] == prior
    # negative control: a month before it
    neighbours(folder, **{"N3,2026-02-01,": "N3,2026-02-01,9"})
    assert pooled_priors(load_case(folder / "case.toml"))["oil"] != prior


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("N2,2024-06-01,", "N2,2024-06-01,-", "near.csv: row 64, oil_bbl"),
        ("N1,2024-08-01", "N1,2024-07-01", "near.csv: row 36, date"),
        ("N1,2024-08-01", "N1,soon", "near.csv: row 36, date"),
        ("oil_bbl", "oil", "near.csv"),
        ("N2,2024-06-01", ",2024-06-01", "near.csv: row 64, well_id"),
    ],
)
def test_faults_of_neighbours_are_told_by_row(
    edit: Edit, folder: Path, old: str, new: str, told: str
) -> None:
    edit("case.toml", "[[wells]]", '[fit]\nteachers = "near.csv"\n\n[[wells]]')
    neighbours(folder, **{old: new})
    with pytest.raises(InputError) as error:
        load_case(folder / "case.toml")
    assert any(str(fault).startswith(told) for fault in error.value.faults), error.value.faults
    assert len(error.value.faults) == 1


def test_a_file_of_neighbours_holds_some(edit: Edit, folder: Path) -> None:
    edit("case.toml", "[[wells]]", '[fit]\nteachers = "history.csv"\n\n[[wells]]')
    with pytest.raises(InputError, match="no neighbour"):
        load_case(folder / "case.toml")
    edit("case.toml", '"history.csv"', '"nowhere.csv"')
    with pytest.raises(InputError, match=r"fit.teachers.*nowhere.csv"):
        load_case(folder / "case.toml")


def test_every_record_is_of_one_key() -> None:
    """Each key names its own records, and every record belongs to one: a factor is no uplift."""
    from refracmc.case.response_section import Response
    from refracmc.production.uplift import RECORDS

    rules = [field.json_schema_extra or {} for field in Response.model_fields.values()]
    named = [name for rule in rules for name in rule.get("records", ())]
    assert sorted(named) == sorted(RECORDS)
