"""Comparison of strategies on a table small enough to work by hand.

Oracle: arithmetic written beside each number. Four trials; incremental NPV in US$ a trial:

    nothing        0   0   0   0
    t@2027-01      4  -2   6   0     mean 2
    t@2028-01      1   1   1   1     mean 1
    u@2027-01     -1  -1   7   3     mean 2, after the first of the same mean
"""

import numpy as np
import pytest

from refracmc.decisions import compare, trigger_tables

INC = np.array([[0, 0, 0, 0], [4, -2, 6, 0], [1, 1, 1, 1], [-1, -1, 7, 3]], dtype=float)
DAYS = np.array([[0, 0, 0, 0], [10, 12, 14, 0], [9, 9, 9, 9], [20, 22, 18, 20]], dtype=float)


def plain_error(values):
    values = values[~np.isnan(values)]
    return float(values.mean()), float(values.std(ddof=1) / np.sqrt(values.size))


def plain_error_or_none(values):
    return plain_error(values) if np.isfinite(values).any() else (np.nan, np.nan)


def results(inc=INC):
    return compare.Results(
        well="W",
        names=("nothing", "t@2027-01", "t@2028-01", "u@2027-01"),
        orders=("nothing", "t", "t", "u"),
        dates=("", "2027-01", "2028-01", "2027-01"),
        measures={
            "incremental_npv": inc,
            "npv": inc + 100.0,
            "job_days": DAYS,
            "job_cost": 1000.0 * DAYS,
            "effective_share": np.array([[0.0] * 4, [1.0, 0.5, 1.0, 0.0], [0.5] * 4, [1.0] * 4]),
            "executed": np.array([[0.0] * 4, [1.0, 1.0, 1.0, 0.0], [1.0] * 4, [1.0] * 4]),
        },
    )


def test_the_decision() -> None:
    row = compare.decision(results(), plain_error, tail_fraction=0.5)
    assert (row["strategy"], row["order"], row["date"]) == ("t@2027-01", "t", "2027-01")
    assert row["runner_up"] == "u@2027-01"
    assert row["mean_usd"] == 2.0
    # squares about 2: 4 + 16 + 16 + 4 = 40, /3, /4
    assert row["se_usd"] == pytest.approx(np.sqrt(40.0 / 3.0 / 4.0))
    # sorted -2 0 4 6; a tenth of the way of three steps is .3 of the first step, and so on
    assert (row["p90_usd"], row["p50_usd"], row["p10_usd"]) == pytest.approx((-1.4, 2.0, 5.4))
    assert row["p_loss"] == 0.25
    assert row["cvar_usd"] == -1.0  # the worst two: -2 and 0
    # best of each trial: 4 1 7 3; chance of the first: one of four; nothing never
    assert row["chance_of_best"] == 0.25
    assert row["chance_nothing_best"] == 0.0
    assert row["opportunity_loss_usd"] == (0 + 3 + 1 + 3) / 4
    assert row["nothing_opportunity_loss_usd"] == 15 / 4
    # paired lead over u@2027-01: 5 -1 -1 -3, mean 0, squares 36
    assert row["lead_usd"] == 0.0
    assert row["lead_se_usd"] == pytest.approx(np.sqrt(36.0 / 3.0 / 4.0))
    assert row["job_days"] == 12.0  # of the three jobs done
    assert row["job_cost_usd"] == 12000.0
    assert row["executed_share"] == 0.75


def test_a_tail_that_ends_within_a_trial() -> None:
    # 0.3 of four is 1.2 outcomes: -2 whole, 0.2 of 0
    assert compare.worst_mean(INC[1], 0.3) == pytest.approx(-2.0 / 1.2)
    assert compare.worst_mean(INC[1], 1.0) == 2.0
    assert compare.worst_mean(INC[1], 0.25) == -2.0


def test_equal_trials_share_the_chance_of_best() -> None:
    inc = np.array([[0, 0, 0, 0], [0, 0, 2, -1], [0, 1, 2, -1], [0, 0, 0, -3]], dtype=float)
    row = compare.decision(results(inc), plain_error, 0.5)
    assert row["strategy"] == "t@2028-01"  # mean 1/2 against 1/4
    # shares of the best: 1/4 of the first trial, all of the second, half of the third, none of the last
    assert row["chance_of_best"] == pytest.approx((0.25 + 1.0 + 0.5 + 0.0) / 4)
    assert row["chance_nothing_best"] == pytest.approx((0.25 + 0.0 + 0.0 + 1.0) / 4)


def test_a_single_refrac_has_no_runner_up() -> None:
    whole = results()
    one = compare.Results(
        "W",
        whole.names[:2],
        whole.orders[:2],
        whole.dates[:2],
        {name: values[:2] for name, values in whole.measures.items()},
    )
    row = compare.decision(one, plain_error, 0.5)
    assert row["runner_up"] is None
    assert np.isnan(row["lead_usd"])
    assert row["strategy"] == "t@2027-01"


def test_a_losing_refrac_is_still_the_best_refrac() -> None:
    """Nothing is the other side of every comparison, never the winner among refracs."""
    row = compare.decision(results(INC - 10.0 * (np.arange(4) > 0)[:, None]), plain_error, 0.5)
    assert row["mean_usd"] == -8.0
    assert row["p_loss"] == 1.0
    assert row["chance_nothing_best"] == 1.0
    assert row["opportunity_loss_usd"] == 8.0
    assert row["nothing_opportunity_loss_usd"] == 0.0


def test_timing() -> None:
    rows = compare.timing(results(), plain_error)
    assert [(row["order"], row["date"]) for row in rows] == [
        ("t", "2027-01"),
        ("t", "2028-01"),
        ("u", "2027-01"),
    ]
    assert [row["mean_usd"] for row in rows] == [2.0, 1.0, 2.0]
    assert (rows[0]["gain_usd"], rows[0]["gain_se_usd"]) == (0.0, 0.0)
    # later less first: -3 3 -5 1: mean -1; squares about it 4 16 16 4
    assert rows[1]["gain_usd"] == -1.0
    assert rows[1]["gain_se_usd"] == pytest.approx(np.sqrt(40.0 / 3.0 / 4.0))
    assert rows[2]["gain_usd"] == 0.0  # its own first date


def test_timing_is_by_date_not_by_place() -> None:
    whole = results()
    turned = [0, 2, 1, 3]
    other = compare.Results(
        "W",
        tuple(whole.names[k] for k in turned),
        tuple(whole.orders[k] for k in turned),
        tuple(whole.dates[k] for k in turned),
        {name: values[turned] for name, values in whole.measures.items()},
    )
    assert compare.timing(other, plain_error) == compare.timing(whole, plain_error)


def test_orders_each_at_its_best_date() -> None:
    rows = compare.orders_at_best_date(results(), plain_error, {"t": 8, "u": 11})
    first, second = rows
    assert (first["order"], first["date"], first["mean_usd"]) == ("t", "2027-01", 2.0)
    assert (first["gap_usd"], first["gap_se_usd"], first["extra_shifts"]) == (0.0, 0.0, 0.0)
    assert (second["order"], second["date"], second["extra_shifts"]) == ("u", "2027-01", 3.0)
    assert second["gap_usd"] == 0.0  # -5 1 1 3
    assert second["gap_se_usd"] == pytest.approx(np.sqrt(36.0 / 3.0 / 4.0))
    assert second["job_days"] == 20.0
    assert second["job_cost_usd"] == 20000.0
    # days 18 20 20 22
    assert (second["job_days_p90"], second["job_days_p50"]) == pytest.approx((18.6, 20.0))
    # of the first order's four trials three have a job, of 10, 12 and 14 days
    assert (first["executed_share"], first["job_days"]) == (0.75, 12.0)
    assert (first["job_days_p90"], first["job_days_p10"]) == pytest.approx((10.4, 13.6))
    assert first["effective_share"] == pytest.approx(2.5 / 3.0)


def test_an_order_that_is_never_done_has_no_days() -> None:
    made = results()
    made.measures["executed"][3] = 0.0
    row = compare.orders_at_best_date(made, plain_error_or_none, {"t": 8, "u": 11})[1]
    assert row["executed_share"] == 0.0
    for name in ("job_days", "job_days_p50", "job_cost_usd", "job_cost_p10_usd", "effective_share"):
        assert np.isnan(row[name]), name


def test_the_percentile_table() -> None:
    table = compare.distribution(results())
    assert len(table["npv_usd"]) == 4 * 99
    at = {
        (name, int(percent)): (npv, inc)
        for name, percent, npv, inc in zip(
            table["strategy"],
            table["exceedance_percent"],
            table["npv_usd"],
            table["incremental_npv_usd"],
            strict=True,
        )
    }
    assert at["t@2027-01", 90] == pytest.approx((98.6, -1.4))  # P90 is the low one
    assert at["t@2027-01", 10] == pytest.approx((105.4, 5.4))
    assert at["u@2027-01", 50] == pytest.approx((101.0, 1.0))
    assert at["nothing", 50] == (100.0, 0.0)


def test_the_error_of_the_tail_mean() -> None:
    """Spread of the tail mean over 500 samples of 400 against its mean stated error.

    Oracle: repeated sampling. An estimate of a spread from 500 is off by 1/sqrt(1000) = 3.2 %, so four of that
    are allowed; the error of the plain mean in its place (the negative control) is far outside.
    """
    rng = np.random.default_rng(11)
    tails, errors, pooled = [], [], []
    for _ in range(500):
        inc = np.vstack([np.zeros(400), rng.standard_normal(400) * 3.0 + 1.0])
        measures = {"incremental_npv": inc, "job_days": inc, "job_cost": inc, "executed": inc}
        found = compare.Results("W", ("nothing", "t@2027-01"), ("nothing", "t"), ("", "2027-01"), measures)
        row = compare.decision(found, plain_error, 0.1)
        tails.append(row["cvar_usd"])
        errors.append(row["cvar_se_usd"])
        pooled.append(row["se_usd"])
    ratio = np.mean(errors) / np.std(tails, ddof=1)
    assert abs(ratio - 1.0) < 4.0 / np.sqrt(1000.0)
    assert abs(np.mean(pooled) / np.std(tails, ddof=1) - 1.0) > 4.0 / np.sqrt(1000.0)


def triggered():
    """The strategies of `results` and one of a trigger: 9 in the first trial, 5 in the second, no job in the rest
    (mean 3.5, the best), and one that never fires."""
    whole = results()
    more = np.array([[9.0, 5.0, 0.0, 0.0], [0.0] * 4])
    measures = {
        name: np.vstack([values, np.zeros((2, 4))])
        for name, values in whole.measures.items()
        if name != "incremental_npv"
    }
    measures["incremental_npv"] = np.vstack([INC, more])
    measures["executed"][4] = [1.0, 1.0, 0.0, 0.0]
    return compare.Results(
        whole.well,
        (*whole.names, "t@late", "u@never"),
        (*whole.orders, "t", "u"),
        (*whole.dates, "late", "never"),
        measures,
        {"t@late": np.array([3, 14, -1, -1]), "u@never": np.array([-1] * 4)},
        start=2027 * 12,
    )


def test_a_trigger_stands_in_the_decision_with_its_dates() -> None:
    found = triggered()
    row = compare.decision(found, plain_error, 0.5)
    assert (row["strategy"], row["order"], row["trigger"]) == ("t@late", "t", "late")
    assert row["mean_usd"] == 3.5
    assert row["executed_share"] == 0.5
    # two jobs, 2027-04 and 2028-03: half have started by the first, nine in ten not before the second
    assert (row["early_month"], row["date"], row["late_month"]) == ("2027-04", "2027-04", "2028-03")
    assert row["runner_up"] == "t@2027-01"
    assert found.when(1) == dict.fromkeys(("early_month", "median_month", "late_month"), "2027-01")


def test_months_reached_are_order_statistics_of_the_jobs() -> None:
    months = np.array([-1, 0, 12, 24, 36, 48, -1])  # five jobs
    start = 2027 * 12
    assert [compare.month_reached(months, start, share) for share in (0.0, 0.5, 0.9, 1.0)] == [
        "2027-01",
        "2029-01",
        "2031-01",
        "2031-01",
    ]
    assert compare.month_reached(np.array([-1]), start, 0.5) is None


@pytest.mark.parametrize("count", [1, 2, 3, 9, 10, 11, 14, 30, 100])
def test_by_a_month_reached_at_least_the_share_has_started(count: int) -> None:
    """Oracle: counting, in whole hundredths. Negative control: the lower order statistic, which falls short."""
    months, short = np.random.default_rng(count).permutation(count), 0
    for percent in (10, 50, 70, 90, 100):
        found = compare.month_reached(np.append(months, -1), 2027 * 12, percent / 100)
        assert found is not None
        last = (int(found[:4]) - 2027) * 12 + int(found[5:]) - 1
        assert 100 * (months <= last).sum() >= percent * count > 100 * (months < last).sum()
        lower = int(np.quantile(months, percent / 100, method="lower"))
        short += 100 * (months <= lower).sum() < percent * count
    assert short > 0 or count in (1, 10, 11, 30, 100)


def test_a_trigger_that_never_fires_is_no_refrac() -> None:
    """All refracs lose; the trigger without a job has mean 0 and must not win (negative control: as a date it does)."""
    whole = triggered()
    inc = whole.measures["incremental_npv"] - 10.0 * np.array([0, 1, 1, 1, 1, 0])[:, None]
    losing = compare.Results(
        whole.well,
        whole.names,
        whole.orders,
        whole.dates,
        {**whole.measures, "incremental_npv": inc},
        whole.months,
        whole.start,
    )
    assert losing.names[losing.best] == "t@late"
    dated = compare.Results(losing.well, losing.names, losing.orders, losing.dates, losing.measures)
    assert dated.names[dated.best] == "u@never"


def test_timing_and_orders_stay_with_fixed_dates() -> None:
    found = triggered()
    assert compare.timing(found, plain_error) == compare.timing(results(), plain_error)
    dates = [row["date"] for row in compare.orders_at_best_date(found, plain_error, {"t": 8, "u": 11})]
    assert dates == ["2027-01", "2027-01"]


def test_the_table_of_triggers() -> None:
    late, never = trigger_tables.value_rows(triggered(), plain_error)
    assert (late["against"], late["gap_usd"]) == ("t@2027-01", 1.5)  # 5 7 -6 0
    assert late["gap_se_usd"] == pytest.approx(np.sqrt(((3.5**2) + 5.5**2 + 7.5**2 + 1.5**2) / 3 / 4))
    assert (late["executed_share"], late["median_month"], late["late_month"]) == (0.5, "2027-04", "2028-03")
    assert late["p_loss"] == 0.0
    assert (never["executed_share"], never["median_month"]) == (0.0, None)
    assert [
        (row["strategy"], row["month"], row["share"]) for row in trigger_tables.month_rows(triggered())
    ] == [
        ("t@late", "2027-04", 0.25),
        ("t@late", "2028-03", 0.25),
    ]
