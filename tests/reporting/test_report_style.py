"""Palette and small geometry. Oracles: published colour-sight matrices, and round numbers worked by hand."""

from __future__ import annotations

import io
import itertools

import matplotlib as mpl
import numpy as np
import pytest
from PIL import Image

from refracmc.reporting import raster, style, svg
from refracmc.reporting.charts import file_stems
from refracmc.reporting.glyphs import lines_of
from refracmc.reporting.settings import drawing
from refracmc.reporting.sheet import Panel, Sheet, Words

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
    axes = style.panel(style.frame("t", "f", 3.0), (1, 1, 1, 1))
    style.value_axis(axes, "x", 80, 89, most=4)
    assert [words.text for words in axes.words()] == ["80.0", "82.5", "85.0", "87.5"]


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


def ramp(**limits: tuple[float, float]) -> Sheet:
    """A panel of 4 x 1 inch at (1, 1) with one line of a thousand small steps."""
    sheet = style.frame("title", "footer", 3.0)
    axes = style.panel(sheet, (1.0, 1.0, 4.0, 1.0))
    axes.x_limits, axes.y_limits = limits.get("x", (0.0, 10.0)), limits.get("y", (0.0, 1.0))
    x = np.linspace(0.0, 10.0, 1000)
    axes.plot(x, 0.5 + 0.01 * np.sin(40 * x), "#000000", 1.0)
    return sheet


def test_settings_of_the_user_change_nothing_and_come_back() -> None:
    plain = raster.png_bytes(ramp())
    mine = {"font.size": 31.0, "path.snap": False, "path.simplify_threshold": 1.0, "path.sketch": (3, 9, 9)}
    with mpl.rc_context(mine):
        assert raster.png_bytes(ramp()) == plain
        assert mpl.rcParams["path.sketch"] == (3, 9, 9)
    assert raster.png_bytes(ramp(y=(0.0, 2.0))) != plain  # control: another picture has other bytes


def test_settings_for_matplotlib_come_and_go() -> None:
    with mpl.rc_context({"font.size": 31.0}):
        with drawing():
            assert mpl.rcParams["font.size"] == 8.5
        assert mpl.rcParams["font.size"] == 31.0


def test_values_stand_where_the_axes_say() -> None:
    """Oracle: by hand; the panel runs from 1 to 5 inches (72 to 360 points) and from 1 to 2 (72 to 144)."""
    axes = ramp(x=(0.0, 10.0), y=(1.0, 100.0)).panels[0]
    assert axes.x_points([0.0, 2.5, 10.0]).tolist() == [72.0, 144.0, 360.0]
    assert axes.y_points(50.5) == pytest.approx(108.0)
    axes.log = True
    assert axes.y_points([1.0, 10.0, 100.0]).tolist() == pytest.approx([72.0, 108.0, 144.0])
    axes.x_limits = (10.0, 0.0)
    assert axes.x_points(2.5) == pytest.approx(288.0)


def test_a_line_breaks_where_a_value_is_missing() -> None:
    axes = Panel((0.0, 0.0, 10.0, 10.0), (0.0, 10.0), (0.0, 10.0))
    nan = np.nan
    axes.plot(range(8), [1, 2, nan, 4, nan, 6, 7, 8], "#000000")
    (stroke,) = axes.shapes()
    assert [line.tolist() for line in stroke.lines] == [[[0, 1], [1, 2]], [[5, 6], [6, 7], [7, 8]]]


def ink_box(words: Words) -> tuple[float, float, float, float]:
    """Left, bottom, right, top in points of what is not white on a sheet that holds only these words."""
    sheet = Sheet(400.0, 200.0, own_words=[words])
    dark = np.asarray(Image.open(io.BytesIO(raster.png_bytes(sheet))).convert("L")) < 128
    rows, columns = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
    scale = 72.0 / raster.DPI
    return (
        columns[0] * scale,
        200.0 - (rows[-1] + 1) * scale,
        (columns[-1] + 1) * scale,
        200.0 - rows[0] * scale,
    )


@pytest.mark.parametrize("upright", [False, True])
def test_words_stand_where_they_are_put(upright: bool) -> None:
    """Oracle: the ink of a capital H, whose sides are straight, against the place asked for; within two pixels."""
    two = 2 * 72.0 / raster.DPI
    boxes = {a: ink_box(Words(200.0, 100.0, "HHHHHH", 9.0, "#000000", a, upright=upright))
             for a in ("left", "center", "right")}  # fmt: skip
    start, end = (1, 3) if upright else (0, 2)
    place = 100.0 if upright else 200.0
    assert boxes["left"][start] == pytest.approx(place, abs=two)
    assert boxes["right"][end] == pytest.approx(place, abs=two)
    assert sum(boxes["center"][k] for k in (start, end)) / 2 == pytest.approx(place, abs=two)
    low, high = (0, 2) if upright else (1, 3)
    across = (boxes["left"][low] + boxes["left"][high]) / 2
    assert across == pytest.approx(200.0 if upright else 100.0, abs=1.5 * two)


def test_lines_of_text_stand_below_each_other() -> None:
    """Oracle: algebra; three lines about their middle, a line of them a size high, 1.2 sizes apart."""
    feet = [y for _, _, y in lines_of(Words(0.0, 50.0, "a\nb\nc", 10.0, "#000000"))]
    assert np.diff(feet) == pytest.approx([-12.0, -12.0])
    whole = 10.0 + 2 * 12.0
    assert feet[0] == pytest.approx(50.0 + whole / 2 - 7.6)
    top = [y for _, _, y in lines_of(Words(0.0, 50.0, "a\nb", 10.0, "#000000", down="top"))]
    assert top[0] == pytest.approx(50.0 - 7.6)


def test_inline_svg_renames_references_and_leaves_text_alone() -> None:
    text = (
        '<?xml version="1.0"?>\n<!DOCTYPE svg>\n<svg xmlns:xlink="http://x" width="1pt" height="2pt" '
        'viewBox="0 0 1 2" xmlns="http://y"><defs><style type="text/css">*{a: b}</style></defs>'
        '<g id="a" clip-path="url(#p)"/><use xlink:href="#m"/><text>say id="a" url(#p)</text></svg>'
    )
    made = svg.inline_svg(text, "k", "label")
    assert made == (
        '<svg viewBox="0 0 1 2" role="img" aria-label="label"><defs></defs>'
        '<g id="k-a" clip-path="url(#k-p)"/><use href="#k-m"/><text>say id="a" url(#p)</text></svg>'
    )
