"""Hindcast tables and scores. Oracles: hand counts, closed forms, and draws of a known distribution."""

import numpy as np
import pandas as pd
import pytest

from refracmc.production.hidden_months import COLUMNS, HindcastSettings, crps_of, run, split_wells
from refracmc.production.hindcast_sums import common_shock
from refracmc.production.history import build_history
from refracmc.production.pooling import choose_wells, field_priors, learn_field, learn_prior
from refracmc.production.prior import default_prior
from refracmc.production.scores import cluster_errors, integral_histogram, pinball, score
from refracmc.production.teachers import Evidence, Outcome, Teacher

SMALL = {"draws": 128, "particles": 128}


def made_well(name, months=40, rate=30000.0, gas_per_oil=0.5, start="2016-01", b=1.0, seed=0):
    dates = pd.date_range(start, periods=months, freq="MS")
    t = np.arange(months) / 12.0
    oil = (
        rate
        / (1 + 1.5 * b * t) ** (1 / b)
        * np.exp(0.05 * np.random.default_rng(seed).standard_normal(months))
    )
    return pd.DataFrame(
        {
            "well_id": name,
            "date": dates,
            "oil_bbl": oil,
            "gas_mcf": oil * gas_per_oil,
            "water_bbl": 0.0,
            "days_on": dates.days_in_month.astype(float),
        }
    )


def test_the_table_has_its_columns_and_lists_every_well():
    zero = made_well("zero", 40).assign(oil_bbl=0.0, gas_mcf=0.0)
    rising = made_well("rising", 40)
    rising["oil_bbl"] = np.r_[np.linspace(100, 3000, 12), np.full(28, 2500.0)]
    rising["gas_mcf"] = 0.0
    few = made_well("few", 40)
    few.loc[3:, ["oil_bbl", "gas_mcf"]] = 0.0
    hole = made_well("hole", 40)
    hole.loc[15, ["oil_bbl", "gas_mcf"]] = np.nan
    wells = [made_well("good"), made_well("short", 20), zero, rising, few, hole]
    result = run(pd.concat(wells), HindcastSettings(12, 24, **SMALL))
    table = result.table.set_index("well_id")
    assert tuple(result.table.columns[: len(COLUMNS)]) == COLUMNS
    assert set(table.index) == {"good", "short", "zero", "rising", "few", "hole"}
    assert table["used"].to_dict() == {
        "good": True, "short": False, "zero": True, "rising": True, "few": True, "hole": False,
    }  # fmt: skip
    assert "20 months" in table.loc["short", "reason"]
    assert "all zeros" in table.loc["zero", "reason"]
    assert "rising all along" in table.loc["rising", "reason"]
    assert "3 producing months" in table.loc["few", "reason"]
    assert "1 hidden months not declared: not scored" in table.loc["hole", "reason"]
    assert np.isnan(table.loc["hole", "actual"])
    forecast = table.drop(index="short")[["p90", "p50", "p10", "mean"]]
    assert np.isfinite(forecast.to_numpy()).all()
    assert (forecast["p90"] <= forecast["p10"]).all()
    good = made_well("good")["oil_bbl"].to_numpy()
    assert table.loc["good", "actual"] == pytest.approx(good[12:36].sum())
    zeroed = run(hole, HindcastSettings(12, 24, undeclared="zero", **SMALL)).table
    assert zeroed.loc[0, "used"]
    assert zeroed.loc[0, "actual"] == pytest.approx(np.nansum(hole["oil_bbl"].to_numpy()[12:36]))


def test_the_phase_is_told_before_the_cut_off():
    frame = made_well("w")
    frame.loc[12:, "gas_mcf"] = 1e9
    result = run(frame, HindcastSettings(12, 24, **SMALL))
    assert result.table.loc[0, "phase"] == "oil"
    ready, _ = split_wells(frame, HindcastSettings(12, 24, phase="gas"))
    assert ready["w"].known.main_phase == "gas"
    assert len(ready["w"].known) == 12


def test_options_out_of_range_are_all_named():
    with pytest.raises(
        ValueError, match=r"months in is 1.*months out is 0.*phase is 'water'.*undeclared is 'no'"
    ):
        HindcastSettings(1, 0, "water", "no")


def test_crps_of_two_draws_and_of_normal_draws():
    # E|X - y| - E|X - X'|/2 for {0, 2} against 1: 1 - 0.5 x 1
    assert crps_of(np.array([0.0, 2.0]), 1.0) == pytest.approx(0.5)
    # closed form for N(0, 1) at 0: (sqrt 2 - 1)/sqrt pi (Gneiting & Raftery 2007, eq. 21)
    draws = np.random.default_rng(1).standard_normal(40_000)
    assert crps_of(draws, 0.0) == pytest.approx((np.sqrt(2) - 1) / np.sqrt(np.pi), abs=0.01)


def scored(actual, p90, p50, p10, pit, mean):
    return pd.DataFrame(
        {
            "actual": actual,
            "p90": p90,
            "p50": p50,
            "p10": p10,
            "pit": pit,
            "mean": mean,
            "crps": 0.0,
            "used": True,
        }
    )


def test_scores_by_hand():
    table = scored([1.0, 5.0, 9.0, 20.0], 5.0, 8.0, 9.0, [0.02, 0.1, 0.9, 0.99], 8.0)
    found = score(table)
    assert found["coverage"] == 0.5  # 5 and 9 stand on the bounds and count as inside
    assert found["share_below_p90"] == 0.25
    assert found["share_above_p10"] == 0.25
    assert found["coverage_se"] == pytest.approx(0.2)
    low = 0.9 * 4 + 0.0 + 0.1 * 4 + 0.1 * 15
    assert found["pinball_10"] == pytest.approx(low / 35)
    assert found["bias_of_sum"] == pytest.approx(32 / 35 - 1)
    assert pinball(np.array([3.0]), np.array([1.0]), 0.9)[0] == pytest.approx(1.8)


def test_what_is_over_the_sum_of_the_actuals_is_nan_where_that_is_nothing():
    """Wells that stood still in all hidden months: nothing to divide by. What counts wells is as it is."""
    values = score(scored([0.0, 0.0], [0.0, 1.0], [2.0, 2.0], [3.0, 4.0], [0.2, 0.05], [2.0, 2.5]))
    over_the_sum = ("pinball_10", "pinball_50", "pinball_90", "pinball", "crps", "bias_of_sum")
    assert all(np.isnan(values[name]) for name in over_the_sum)
    assert (values["sum_actual"], values["coverage"], values["tail_low"]) == (0.0, 0.5, 0.5)


def test_a_calibrated_table_is_flat_and_a_narrow_one_is_not():
    """Tolerance: five standard errors of a share; the negative control draws from a wider truth."""
    generator = np.random.default_rng(3)
    flat = scored(np.ones(2000), 0.0, 1.0, 2.0, generator.random(2000), 1.0)
    shares = integral_histogram(flat)
    assert np.all(np.abs(shares["share"] - 0.1) < 5 * shares["share_se"])
    narrow = flat.assign(pit=np.where(generator.random(2000) < 0.2, 0.001, generator.random(2000)))
    assert not np.all(np.abs(integral_histogram(narrow)["share"] - 0.1) < 5 * shares["share_se"])


def test_errors_with_clusters():
    """Oracle: by hand where every well is its own cluster; ten copies of a table, each well's copies one
    cluster, tell no more than the table itself."""
    table = scored([1.0, 5.0, 9.0, 20.0], 5.0, 8.0, 9.0, 0.5, [2.0, 5.0, 8.0, 10.0]).assign(area=list("abcd"))
    alone = cluster_errors(table, ["area"])
    assert alone["coverage_cluster_se"] == pytest.approx(np.sqrt(4 / 3 * 4 * 0.25) / 4)
    left = table["mean"] - table["actual"] * 25 / 35
    assert alone["bias_cluster_se"] == pytest.approx(np.sqrt(4 / 3 * (left**2).sum()) / 35)
    copies = pd.concat([table] * 10, ignore_index=True)
    assert cluster_errors(copies, ["area"]) == pytest.approx(alone)
    # negative control: copies taken as wells of their own seem to tell more
    taken = cluster_errors(copies.assign(area=np.arange(40)), ["area"])
    assert taken["coverage_cluster_se"] < 0.5 * alone["coverage_cluster_se"]
    assert np.isnan(cluster_errors(table.assign(area="a"), ["area"])["bias_cluster_se"])


def test_errors_with_clusters_at_the_edges():
    """Oracles: leaving one cluster out at a time (the jackknife; both are linear to 1/clusters); a name of its own
    for what has none. Negative control: wells taken as independent, where clusters share half the variance."""
    generator = np.random.default_rng(8)
    area = np.repeat(np.arange(40), 8)
    actual = np.exp(generator.normal(0.0, 0.4, 40)[area] + generator.normal(0.0, 0.3, area.size))
    table = scored(actual, 0.6, 1.0, 1.3, 0.5, 1.0).assign(area=area)
    found = cluster_errors(table, ["area"])
    left_out = pd.DataFrame([score(table[table["area"] != k]) for k in range(40)])
    for name, key in (("coverage", "coverage_cluster_se"), ("bias_of_sum", "bias_cluster_se")):
        spread = np.sqrt(39.0 / 40.0 * ((left_out[name] - left_out[name].mean()) ** 2).sum())
        assert found[key] == pytest.approx(spread, rel=0.05)
    assert cluster_errors(table.assign(area=np.arange(area.size)), ["area"])["bias_cluster_se"] < (
        0.7 * found["bias_cluster_se"]
    )
    unnamed = table.assign(area=np.where(area < 3, None, "b"))
    named = table.assign(area=np.where(area < 3, "a", "b"))
    assert cluster_errors(unnamed, ["area"]) == cluster_errors(named, ["area"])
    assert np.isnan(list(cluster_errors(table.iloc[:0], ["area"]).values())).all()
    empty = cluster_errors(table.assign(actual=0.0), ["area"])
    assert np.isnan(empty["bias_cluster_se"])
    assert np.isfinite(empty["coverage_cluster_se"])


def test_a_common_shock_is_told_from_independent_errors():
    generator = np.random.default_rng(5)
    from scipy.special import ndtr

    quarters = np.repeat([f"{2016 + k}-02" for k in range(8)], 50)
    own = generator.standard_normal(400)
    shared = np.repeat(generator.standard_normal(8), 50)
    alone = scored(np.ones(400), 0, 1, 2, ndtr(own), 1.0).assign(cut_off=quarters)
    together = alone.assign(pit=ndtr((own + shared) / np.sqrt(2)))
    assert common_shock(alone)["common_part"] < 0.1
    assert common_shock(together)["common_part"] > 0.25
    assert common_shock(together)["mean_se"] > 3 * common_shock(alone)["mean_se"]


@pytest.mark.parametrize("learn", [learn_prior, learn_field])
def test_pooling_moves_towards_many_wells_and_not_without_them(learn):
    base = default_prior("oil")
    assert learn([], base) is base
    came_out = Outcome(2019, -0.8, 2.0, 0.0, 0.1, -0.2)
    low = Evidence("oil", np.array([0.2, 0.6]), np.array([0.01, 0.002]), (came_out,))
    few, many = learn([low] * 3, base), learn([low] * 300, base)
    start = base.shapes["modified_hyperbolic"].mean
    assert few.shapes["modified_hyperbolic"].mean[1] < start[1]
    assert many.shapes["modified_hyperbolic"].mean[1] < few.shapes["modified_hyperbolic"].mean[1]
    assert many.shapes["modified_hyperbolic"].mean[0] == pytest.approx(0.2, abs=0.15)
    assert many.uptime.mean[0] < few.uptime.mean[0] < base.uptime.mean[0]
    silent = Evidence("oil", np.full(2, np.nan), np.full(2, np.nan))
    assert learn([silent], base).shapes == base.shapes
    assert learn([silent], base).uptime.mean == base.uptime.mean
    # what a field's forecasts missed moves the level of the field alone
    moved = many.discrepancy.level_mean - base.discrepancy.level_mean
    assert (moved < -0.05) == (learn is learn_field)


def test_evidence_of_a_well_sees_its_own_decline():
    end = np.datetime64("2019-05", "M")
    steep = Teacher(build_history(made_well("s", b=0.3), "s")).evidence(end)
    flat = Teacher(build_history(made_well("f", b=1.6), "f")).evidence(end)
    assert steep.shape_mean[1] < flat.shape_mean[1]
    assert steep.mean_of("uptime_gap") > 0


def test_the_choice_of_wells_does_not_depend_on_their_order():
    names = [f"w{k}" for k in range(50)]
    assert choose_wells(names, 10) == choose_wells(names[::-1], 10)
    assert len(choose_wells(names, 10)) == 10


def test_a_field_gets_one_prior_per_phase_moved_by_its_wells():
    wells = [Teacher(build_history(made_well(f"w{k}", b=0.2, seed=k), f"w{k}")) for k in range(6)]
    priors = field_priors(wells, np.datetime64("2019-05", "M"))
    assert set(priors) == {"oil"}
    assert (
        priors["oil"].shapes["modified_hyperbolic"].mean[1]
        < default_prior("oil").shapes["modified_hyperbolic"].mean[1]
    )
    assert priors["oil"].taught.startswith(
        "6 wells of the field and 12 finished forecasts of theirs made 2017 to 2018"
    )
    assert field_priors(wells, np.datetime64("2016-06", "M")) == {}


def test_a_phase_that_never_flowed_beside_one_that_does_is_forecast_as_nothing():
    frame = made_well("w", gas_per_oil=20.0).assign(oil_bbl=0.0)
    row = run(frame, HindcastSettings(24, 12, phase="oil", **SMALL)).table.iloc[0]
    assert row["actual"] == row["p50"] == row["p10"] == 0.0
    assert "all zeros" in row["reason"]
