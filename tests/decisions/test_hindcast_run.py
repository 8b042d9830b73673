"""The hindcast command's work: files in, tables out, faults in words."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from refracmc.decisions.hindcast_tables import read_areas, read_histories, run_hindcast
from refracmc.errors import InputError
from refracmc.production.scores import score

DATA = Path(__file__).parents[1] / "data"
FILE, WELLS = DATA / "shale_ten_production.csv", DATA / "shale_ten_wells.csv"


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hindcast")
    return run_hindcast([FILE], 24, 24, wells_file=WELLS, undeclared="zero", out_dir=folder), folder


def test_the_tables_are_written(report):
    result, folder = report
    names = {p.name for p in folder.iterdir()}
    assert names == {
        "hindcast.csv", "hindcast_baseline.csv", "scores.csv", "integral.csv", "common_shock.csv", "sums.csv",
    }  # fmt: skip
    back = pd.read_csv(folder / "hindcast.csv", dtype={"well_id": str})
    assert len(back) == 10
    assert back["used"].all()
    np.testing.assert_allclose(back["p50"], result.table["p50"])
    assert {p.name for p in result.files} == names


def test_the_scores_are_those_of_the_written_table(report):
    """Oracle: the scores recomputed from the file, by phase."""
    result, folder = report
    back = pd.read_csv(folder / "hindcast.csv", dtype={"well_id": str})
    rows = result.scores[(result.scores["method"] == "fit") & (result.scores["set"] == "all scored")]
    for phase in ("oil", "gas"):
        found = rows[(rows["phase"] == phase) & (rows["area"] == "")].iloc[0]
        again = score(back[back["phase"] == phase])
        assert found["pinball"] == pytest.approx(again["pinball"])
        assert found["wells"] == again["wells"]


def test_two_files_are_joined_and_the_seed_repeats(report, tmp_path):
    result, _ = report
    frame = pd.read_csv(FILE, dtype={"well_id": str})
    half = frame["well_id"] < "159600"
    frame[half].to_csv(tmp_path / "a.csv", index=False)
    frame[~half].to_parquet(tmp_path / "b.parquet")
    again = run_hindcast(
        [tmp_path / "a.csv", tmp_path / "b.parquet"], 24, 24, wells_file=WELLS, undeclared="zero",
        out_dir=tmp_path / "out",
    )  # fmt: skip
    pd.testing.assert_frame_equal(again.table, result.table)


def test_faults_are_told_together(tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text("well,date\n1,2020-01\n")
    with pytest.raises(InputError) as caught:
        read_histories([bad, tmp_path / "absent.csv"])
    text = str(caught.value)
    assert "bad.csv: found no column well_id, oil_bbl, gas_mcf" in text
    assert "absent.csv" in text
    with pytest.raises(InputError, match="no history file"):
        read_histories([])
    with pytest.raises(InputError, match="no column well_id or area"):
        read_areas(bad)
    with pytest.raises(InputError, match="phase is 'water'"):
        run_hindcast([FILE], 24, 24, phase="water", out_dir=tmp_path)
