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
    assert "Moved by" in priors["oil"].source
    alone, moved = fit_well(case, case.wells[0]), fit_well(pooled, pooled.wells[0])
    assert alone is not None
    assert moved is not None
    assert (alone.technical_eur != moved.technical_eur).any()


def test_every_record_is_of_one_key() -> None:
    """Each key names its own records, and every record belongs to one: a factor is no uplift."""
    from refracmc.case.response_section import Response
    from refracmc.production.uplift import RECORDS

    rules = [field.json_schema_extra or {} for field in Response.model_fields.values()]
    named = [name for rule in rules for name in rule.get("records", ())]
    assert sorted(named) == sorted(RECORDS)
