"""Chart of the scenarios: the best refrac of a well in its case and under each scenario."""

from __future__ import annotations

from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.captions import MILLION_WI, error_range, spoken, strategy_words
from refracmc.reporting.rounding import MILLION
from refracmc.reporting.tables import ReportData


def scenarios(data: ReportData, well: str) -> Figure | None:
    """Bands from P90 to P10 with P50 and mean, one line a scenario; the refrac that the case chooses as a ring."""
    rows = data.of_well("scenarios", well)
    if rows.empty:
        return None
    count = len(rows)
    figure = style.chart_frame(
        data,
        f"{well}: the best refrac under each scenario",
        1.75 + 0.42 * count,
        error_range(rows["se_usd"]),
        extra="Whiskers of the mean: ± 2 standard errors. All scenarios have the same trials.",
    )
    axes = style.panel(figure, (3.0, 0.85, 0.2, 0.8))
    axes.set_ylim(count - 0.4, -0.6)
    low, middle, high, mean, error, kept = (
        rows[name].to_numpy(dtype=float) / MILLION
        for name in ("p90_usd", "p50_usd", "p10_usd", "mean_usd", "se_usd", "choice_usd")
    )
    colours = [style.PALETTE[0] if verdict == "refracture" else style.FAINT for verdict in rows["verdict"]]
    labels = []
    for k, row in enumerate(rows.to_dict("records")):
        style.spans(axes, low[k], high[k], k, colours[k], 7.0, alpha=0.35)
        style.spans(axes, mean[k] - 2 * error[k], mean[k] + 2 * error[k], k, colours[k], 1.4)
        axes.plot([middle[k]], [k], ls="", marker="|", ms=11, mew=1.6, color=colours[k])
        if row["choice"] != row["strategy"]:
            axes.plot([kept[k]], [k], ls="", marker="o", ms=6, mfc="white", mec=style.INK, mew=1.3)
        axes.plot([mean[k]], [k], ls="", marker="o", ms=5, color=colours[k])
        name = style.shorten(spoken(str(row["scenario"])), 24)
        best = style.shorten(strategy_words(str(row["strategy"])), 44)
        labels.append(f"{name}: {row['verdict']}\n{best}")
    style.set_ticks(axes, "y", range(count), labels, grid=False, size=7.2)
    style.zero_line(axes, upright=True)
    style.value_axis(axes, "x", *style.padded([*low, *high, *kept, 0.0], 0.04))
    style.name_axis(axes, "x", f"Incremental NPV over doing nothing, {MILLION_WI}")
    style.legend_row(
        figure,
        [
            style.Mark("P90 to P10, refracture", style.PALETTE[0], "band"),
            style.Mark("another verdict", style.FAINT, "band"),
            style.Mark("mean", style.INK, "dot"),
            style.Mark("mean of the refrac that the base chooses, where another is best", style.INK, "ring"),
        ],
    )
    return figure
