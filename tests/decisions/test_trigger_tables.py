"""The tables of a well whose best refrac is one of a trigger.

Oracles: the trials on disk; the log and the volumes of the fixed date of each trial's month, taken one by one.
Negative control: the fan of the fixed date nearest the median is not the trigger's.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from refracmc.case.load import load_case
from refracmc.decisions.well_tables import sum_up, tables_of
from refracmc.engine.blocks import block_task
from refracmc.engine.draws import draw
from refracmc.engine.one_trial import at_its_date, strategy_log
from refracmc.engine.plan import build_plan
from refracmc.sampling.streams import blocks_of
from tests.decisions.test_job_report import TEXT
from tests.engine.awkward_cases import main_volumes
from tests.second_route.awkward import TALLY

TRIALS = 600


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory):
    folder: Path = tmp_path_factory.mktemp("case")
    text = TEXT.replace('["toe_to_heel", "alternating"]', '["alternating"]')
    text = text.replace(
        '"2025-07"\nlatest = "2026-06"\nmin_price_usd = 80.0',
        '"2025-07"\nlatest = "2027-06"\nmin_price_usd = 80.0',
    )
    (folder / "case.toml").write_text(text + "[wells.response]\nuplift = 0.15\n", "utf-8")
    (folder / "sleeves.csv").write_text(TALLY, "utf-8")
    case = load_case(folder / "case.toml").with_sampling(TRIALS, None)
    plan = build_plan(case, case.wells[0], 0, None)
    sizes = blocks_of(TRIALS)
    (folder / "blocks").mkdir()
    for block in range(len(sizes)):
        block_task(([plan], folder, sizes), (block, (0,)))
    well = sum_up(plan, folder, sizes)
    return well, {key: pd.DataFrame(rows) for key, rows in tables_of(well).items()}


def test_the_best_is_the_trigger_and_its_trials_are_those_on_disk(made) -> None:
    well, tables = made
    plan, found = well.plan, well.trials
    row = tables["decision"].iloc[0]
    assert (row["strategy"], row["trigger"]) == ("alternating@dear", "dear")
    at = plan.names.index("alternating@dear")
    assert row["mean_usd"] == pytest.approx(found.measures["incremental_npv"][at].mean(), rel=1e-12)
    assert row["executed_share"] == found.measures["executed"][at].mean()
    assert 0.3 < row["executed_share"] < 1.0
    shares = tables["trigger_months"].query("strategy == 'alternating@dear'")
    assert shares["share"].sum() == pytest.approx(row["executed_share"], rel=1e-12)
    assert shares["month"].is_monotonic_increasing
    passed = shares[shares["month"] <= row["date"]]["share"].sum()
    before = shares[shares["month"] < row["date"]]["share"].sum()
    assert before <= 0.5 * row["executed_share"] <= passed + 1 / TRIALS
    assert set(tables["triggers"]["strategy"]) == {
        "alternating@fixed",
        "alternating@dear",
        "alternating@never",
    }
    assert (found.measures["executed"][at] > 0).sum() == (well.results.months["alternating@dear"] >= 0).sum()


def test_the_timeline_is_of_a_trial_with_a_job(made) -> None:
    well, tables = made
    plan, found = well.plan, well.trials
    rows = tables["timeline"].query("scenario == 'typical'")
    days = found.measures["job_days"][plan.names.index("alternating@dear")][:512]
    done = days > 0
    row = int(np.flatnonzero(done)[np.argmin(np.abs(days[done] - np.median(
        found.measures["job_days"][plan.names.index("alternating@dear")][
            found.measures["executed"][plan.names.index("alternating@dear")] > 0
        ]
    )))])  # fmt: skip
    draws = draw(plan, 0, 512)
    knowing, fixed = at_its_date(plan, draws, plan.strategies[plan.names.index("alternating@dear") - 1], row)
    assert fixed is not None
    log = strategy_log(knowing, draws, fixed, row)
    assert rows["end_hour"].iloc[-1] == log[-1].start_hour + log[-1].hours
    assert len(rows) == len(log)
    assert set(tables["sleeve_map"]["strategy"]) == {"alternating@dear"}


def test_volumes_are_those_of_each_trials_own_month(made) -> None:
    plan, trials = made[0].plan, made[0].trials
    draws = draw(plan, 0, 512)
    at = plan.names.index("alternating@dear")
    best = plan.strategies[at - 1]
    left, found = main_volumes(plan, draws, best)
    np.testing.assert_allclose(
        found.sum(axis=1) - left.sum(axis=1),
        trials.measures["incremental_eur"][at][:512],
        rtol=1e-9,
        atol=1e-3,
    )
    for row in (0, 77, 300, 511):
        knowing, fixed = at_its_date(plan, draws, best, row)
        if fixed is None:
            np.testing.assert_array_equal(found[row], left[row])
            continue
        np.testing.assert_allclose(found[row], main_volumes(knowing, draws, fixed)[1][row], rtol=1e-9)
    _, fixed_fan = main_volumes(plan, draws, plan.dated[0])
    assert not np.allclose(found.mean(axis=0), fixed_fan.mean(axis=0), rtol=1e-3)
