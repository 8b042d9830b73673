"""Ten real shale horizontals through the public run: fitted, valued, reconciled.

Contains data from Secretaría de Energía de la Nación (Argentina), "Producción de petróleo y gas por pozo
(Capítulo IV)" and "Datos de fractura de pozos de hidrocarburos (Adjunto IV)", datos.energia.gob.ar,
CC BY 4.0; subset, renamed and unit-converted.

The histories, main phases, lateral lengths and numbers of stages are the data's; sleeve tally, depths, prices,
costs, interests and refrac response are assumed, for the files state none, and the case says so. Oracle: sums of
the data, bounds that hold for any well, and the trace's own sums.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import refracmc
from refracmc.commands.chosen_well import plan_of
from refracmc.commands.trace import trace_content

DATA = Path(__file__).parents[1] / "data"
CASE = """schema_version = 1
name = "ten"
title = "Ten real horizontals; sleeves, prices, costs and response assumed"
data_status = "assumed"
[sampling]
trials = 300
seed = 3
[valuation]
date = "2026-01"
horizon_months = 72
[prices]
model = "mean_reverting"
oil_usd_per_bbl = 65.0 # assumed, as all that follows
gas_usd_per_mcf = 3.0
oil_annual_volatility = 0.3
gas_annual_volatility = 0.4
oil_reversion_per_year = 0.5
gas_reversion_per_year = 1.0
oil_gas_correlation = 0.3
[outputs]
keep_trials = true
charts = false
[strategies]
orders = ["toe_to_heel"]
dates = ["2026-07", "2027-07"]
"""


@pytest.fixture(scope="module")
def raw() -> pd.DataFrame:
    return pd.read_csv(DATA / "shale_ten_production.csv", dtype={"well_id": str})


@pytest.fixture(scope="module")
def wells() -> pd.DataFrame:
    return pd.read_csv(DATA / "shale_ten_wells.csv", dtype={"well_id": str}).set_index("well_id")


@pytest.fixture(scope="module")
def ran(raw: pd.DataFrame, wells: pd.DataFrame, tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("ten")
    raw.to_csv(folder / "history.csv", index=False)
    tally, tables = ["well_id,sleeve,depth_ft,isolation_above,state_date,state,shifts,installed"], [CASE]
    for name, well in wells.iterrows():
        stages, lateral_ft = int(well["stages"]), float(well["lateral_m"]) / 0.3048
        first = raw.loc[raw["well_id"] == name, "date"].min()
        tally += [  # one sleeve a stage, evenly along the lateral, heel at 10,000 ft: assumed
            f"{name},{k + 1},{10_000 + lateral_ft * (1 - (k + 0.5) / stages):.1f},cement,2025-12,open,1,{first}"
            for k in range(stages)
        ]
        tables.append(
            f'[[wells]]\nid = "{name}"\nhistory = "history.csv"\ntally = "sleeves.csv"\n'
            f'main_phase = "{well["main_phase"]}"\n'
        )
    (folder / "sleeves.csv").write_text("\n".join(tally) + "\n", "utf-8")
    (folder / "case.toml").write_text("".join(tables), "utf-8")
    return folder / "case.toml", refracmc.run_case(folder / "case.toml", folder / "out", workers=1)


def test_all_ten_are_valued(ran, wells: pd.DataFrame) -> None:
    _, done = ran
    assert done.refused == {}
    assert set(done.summary["well"]) == set(wells.index)
    value = done.summary.set_index(["well", "strategy", "measure"])
    for measure in ("npv", "incremental_npv", "eur", "incremental_eur", "job_days", "job_cost", "capex"):
        rows = value.xs(measure, level="measure")
        if measure in ("job_days", "job_cost"):  # of the trials in which a job is done
            rows = rows.drop("nothing", level="strategy")
        assert np.isfinite(rows[["mean", "se", "p90", "p50", "p10"]]).all(axis=None), measure
        assert (rows["p90"] <= rows["p50"]).all()
        assert (rows["p50"] <= rows["p10"]).all()
    for measure in ("p_loss", "executed_share", "capped_share", "effective_share"):
        shares = value.xs(measure, level="measure").drop("nothing", level="strategy")
        assert shares["mean"].between(0.0, 1.0).all(), measure
    assert value["undefined_share"].between(0.0, 1.0).all()
    refrac = value.drop("nothing", level="strategy")
    cost = refrac.xs("job_cost", level="measure")["mean"]
    stages = wells["stages"].reindex(cost.index.get_level_values("well")).to_numpy()
    assert np.corrcoef(cost, stages)[0, 1] > 0.9  # a job of more stages costs more
    assert cost.between(3e5, 6e6).all()


def test_history_is_what_was_produced(ran, raw: pd.DataFrame, wells: pd.DataFrame) -> None:
    """Cumulative of each phase, the history rows of the report, and a recovery that begins with them."""
    path, done = ran
    trials = pd.read_parquet(done.folder / "results.parquet")
    table = pd.read_parquet(done.folder / "tables" / "production.parquet")
    case = refracmc.load_case(path)
    for name, well in wells.iterrows():
        own = raw[raw["well_id"] == name]
        main = "oil_bbl" if well["main_phase"] == "oil" else "gas_mcf"
        history = case.well(name).history
        for phase, column in (("oil", "oil_bbl"), ("gas", "gas_mcf"), ("water", "water_bbl")):
            assert history.cumulative[phase] == pytest.approx(own[column].sum(), rel=1e-12, abs=1e-9)
        rows = table[(table["well"] == name) & (table["branch"] == "history")]
        assert rows["mean"].sum() == pytest.approx(own[main].sum(), rel=1e-12)
        assert rows["month"].tolist() == own["date"][own[main].notna()].tolist()
        produced = trials.loc[trials["well"] == name, "eur"]
        assert produced.min() >= own[main].sum() * (1.0 - 1e-12)
        assert produced.max() < 20.0 * own[main].sum()


def test_forecasts_join_the_history(ran, raw: pd.DataFrame, wells: pd.DataFrame) -> None:
    """First forecast year, left alone, against the last year on record: a quarter to twice of it, and less in most.

    Common sense for wells of four years and more, not a test of calibration (tests/statistical has that). A
    well that stood still most of its last year is left out: there is nothing to join to.
    """
    _, done = ran
    table = pd.read_parquet(done.folder / "tables" / "production.parquet")
    ratios = {}
    for name, well in wells.iterrows():
        main = "oil_bbl" if well["main_phase"] == "oil" else "gas_mcf"
        last = raw.loc[raw["well_id"] == name, main].tail(12)
        rows = table[(table["well"] == name) & (table["branch"] == "nothing")].sort_values("month")
        if (last > 0).sum() >= 6:
            ratios[name] = rows["mean"].head(12).sum() / last.sum()
    assert len(ratios) >= 8
    assert min(ratios.values()) > 0.25, ratios
    assert max(ratios.values()) < 2.0, ratios
    assert 0.6 < np.median(list(ratios.values())) < 1.0, ratios


def test_months_add_up_to_the_value(ran, wells: pd.DataFrame) -> None:
    path, done = ran
    case = refracmc.load_case(path)
    trials = pd.read_parquet(done.folder / "results.parquet").set_index(["strategy", "trial"])
    for name in wells.index:
        plan, own = plan_of(case, name), trials[trials["well"] == name]
        for strategy in ("nothing", "toe_to_heel@2027-07"):
            content = trace_content(plan, strategy, 299)
            assert content["measures"]["npv"] == own.loc[(strategy, 299), "npv"]
            told = content["reconciliation"]
            size = sum(abs(month["revenue_usd"]) + abs(month["opex_usd"]) for month in content["monthly"])
            assert abs(told["difference_usd"]) <= 1e-10 * (size + 1e6)
            assert told["job_hours"] == pytest.approx(24.0 * content["measures"]["job_days"], rel=1e-12)


def test_the_page_says_what_is_assumed(ran) -> None:
    _, done = ran
    page = (done.folder / "report.html").read_text("utf-8")
    assert "sleeves, prices, costs and response assumed" in page
    inputs = pd.read_parquet(done.folder / "tables" / "inputs.parquet")
    assert inputs["is_assumption"].mean() > 0.9
