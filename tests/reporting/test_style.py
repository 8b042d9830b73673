"""Palette and small geometry. Oracles: published colour-sight matrices, and round numbers worked by hand."""

from __future__ import annotations

import itertools
import re

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from refracmc.reporting import charts_sleeves, pictures, style
from refracmc.reporting.files import file_stems
from refracmc.reporting.page import inline_svg

# Machado, Oliveira & Fernandes 2009, severity 1.0; applied to linear RGB
SIGHT = {
    "normal": np.eye(3),
    "protan": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                        [-0.003882, -0.048116, 1.051998]]),
    "deutan": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                        [-0.011820, 0.042940, 0.968881]]),
    "tritan": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                        [0.004733, 0.691367, 0.303900]]),
}  # fmt: skip
TO_XYZ = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
                   [0.0193339, 0.1191920, 0.9503041]])  # fmt: skip


def lab(colour: str, sight: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* (D65) of a hex colour as seen with a kind of colour sight."""
    rgb = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    xyz = TO_XYZ @ np.clip(sight @ linear, 0, 1) / np.array([0.95047, 1, 1.08883])
    f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def smallest_distance(colours: tuple[str, ...]) -> float:
    return min(
        float(np.linalg.norm(lab(a, m) - lab(b, m)))
        for m in SIGHT.values()
        for a, b in itertools.combinations(colours, 2)
    )


def test_palette_stays_apart_for_all_kinds_of_sight() -> None:
    assert smallest_distance((style.NOTHING_COLOUR, *style.PALETTE)) > 20
    assert smallest_distance(("#d62020", "#5f9020")) < 20  # control: a red and a green of like lightness fail


def test_fills_of_the_states_of_a_sleeve_stay_apart_for_all_kinds_of_sight() -> None:
    fills = tuple(colour for _, colour in charts_sleeves.STATES)
    assert len({state for state, _ in charts_sleeves.STATES}) == len(fills) == 9
    assert smallest_distance(fills) > 20
    assert smallest_distance((*fills, "#ffffff")) > 18  # and from the paper
    assert smallest_distance(("#b9dcd6", "#cfd5da")) < 5  # control: a pale green and a pale grey


@pytest.mark.parametrize(
    ("low", "high", "most", "expected"),
    [
        (0, 10, 6, [0, 2, 4, 6, 8, 10]),
        (-1.2, 6.3, 6, [0, 2, 4, 6]),
        (0.811, 0.887, 4, [0.82, 0.84, 0.86, 0.88]),
        (80, 89, 4, [80, 82.5, 85, 87.5]),
        (3, 3, 5, [3]),
    ],
)
def test_nice_ticks(low: float, high: float, most: int, expected: list[float]) -> None:
    assert style.nice_ticks(low, high, most) == pytest.approx(expected)


def test_tick_labels_carry_the_decimals_of_their_step() -> None:
    with style.drawing():
        figure = style.frame("t", "f", 3.0)
        axes = style.panel(figure, (1, 1, 1, 1))
        style.value_axis(axes, "x", 80, 89, most=4)
        assert [text.get_text() for text in axes.texts] == ["80.0", "82.5", "85.0", "87.5"]


def test_wrap_and_shorten() -> None:
    assert style.wrap("one two three", 7) == "one two\nthree"
    assert style.wrap("unbreakable", 4) == "unbreakable"
    assert style.shorten("abcdefgh", 5) == "abcd…"
    assert style.shorten("abc", 5) == "abc"


def test_file_names_are_safe_and_differ() -> None:
    stems = file_stems(("A/1", "A 1", "a_1", "../x", "", "LK-01"))
    assert len({s.lower() for s in stems.values()}) == 6
    assert stems["LK-01"] == "LK-01"
    for stem in stems.values():
        assert stem
        assert "/" not in stem
        assert not stem.startswith(".")


def test_settings_of_the_user_come_back() -> None:
    with mpl.rc_context({"font.size": 31.0}):
        with style.drawing():
            assert mpl.rcParams["font.size"] == 8.5
        assert mpl.rcParams["font.size"] == 31.0


def test_inline_svg_renames_references_and_leaves_text_alone() -> None:
    svg = (
        '<?xml version="1.0"?>\n<!DOCTYPE svg>\n<svg xmlns:xlink="http://x" width="1pt" height="2pt" '
        'viewBox="0 0 1 2" xmlns="http://y"><defs><style type="text/css">*{a: b}</style></defs>'
        '<g id="a" clip-path="url(#p)"/><use xlink:href="#m"/><text>say id="a" url(#p)</text></svg>'
    )
    assert inline_svg(svg, "k") == (
        '<svg viewBox="0 0 1 2"><defs></defs>'
        '<g id="k-a" clip-path="url(#k-p)"/><use href="#k-m"/><text>say id="a" url(#p)</text></svg>'
    )


def test_spans_are_lines_from_end_to_end() -> None:
    """Arrays and single numbers mixed; ends worked by hand."""
    with style.drawing():
        axes = style.panel(style.frame("t", "f", 3.0), (1, 1, 1, 1))
        style.spans(axes, 0.0, [1, 2], [5, 6], style.INK, 1.0)
        style.spans(axes, [1, 2], [3, 4], 7.0, style.INK, 1.0, upright=True)
    along, up = (collection.get_segments() for collection in axes.collections)
    assert [line.tolist() for line in along] == [[[0, 5], [1, 5]], [[0, 6], [2, 6]]]
    assert [line.tolist() for line in up] == [[[7, 1], [7, 3]], [[7, 2], [7, 4]]]


def test_counts_begin_at_one_and_go_on_by_a_step() -> None:
    with style.drawing():
        axes = style.panel(style.frame("t", "f", 3.0), (1, 1, 1, 1))
        style.set_counts(axes, "x", 40, 12)
    assert [text.get_text() for text in axes.texts] == ["1", *(str(k) for k in range(4, 41, 4))]


def test_numbers_in_texts_of_an_svg_keep_their_decimals() -> None:
    with style.drawing():
        figure = Figure(figsize=(3, 3), dpi=pictures.DPI)
        figure.text(1 / 3, 0.5, "0.123456 < x")
        figure.add_artist(Line2D([1 / 7, 1 / 9], [1 / 11, 1 / 13]))
        text = pictures.svg_text(figure)
    assert ">0.123456 &lt; x<" in text
    assert "M 30.85 196.36 \nL 24 199.38 \n" in text  # cut: 216 / 7, 216 x 10 / 11, 216 / 9, 216 x 12 / 13
    inside = re.sub(r">[^<>\n]+<", "><", text)
    assert not re.search(r"\.\d{3}", inside)


def test_a_legend_counts_its_lines() -> None:
    """As many lines as the marks are drawn on: heights of their labels that differ."""
    for count in (1, 4, 9, 20):
        marks = [style.Mark("toe to heel by trigger late", style.INK)] * count
        figure = style.frame("title", "foot", 4.0)
        before = len(figure.texts)
        style.legend_row(figure, marks)
        heights = {round(text.get_position()[1], 6) for text in figure.texts[before:]}
        assert style.legend_lines(marks) == len(heights)


@pytest.mark.parametrize(
    ("count", "labels"), [(5, "12345"), (24, "1 4 6 8"), (40, "1 4 8 12"), (36, "1 3 6 9")]
)
def test_numbers_of_a_count_stand_apart(count: int, labels: str) -> None:
    axes = style.panel(style.frame("t", "f", 3.0), (1.0, 0.5, 0.5, 0.5))
    style.set_counts(axes, "y", count, 12)
    drawn = [text.get_text() for text in axes.texts]
    expected = list(labels) if count == 5 else labels.split()
    assert drawn[: len(expected)] == expected
