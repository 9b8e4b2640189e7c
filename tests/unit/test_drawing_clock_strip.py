"""The clock strip and the wheel template."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from clearturn.drawing import (
    Dash,
    Dimension,
    Drawing,
    Layer,
    Line,
    Text,
    clock_strip,
    wheel_template,
)
from clearturn.drawing.lettering import text_width
from clearturn.envelope import CaliperDimensions, caliper_mesh
from clearturn.envelope.boxes import radial_box
from clearturn.errors import InputError
from clearturn.gap import ClockGaps, clock_gaps, surface_distances
from clearturn.result import Motion, PlacedPart


def of_layer(drawing: Drawing, layer: Layer) -> list[Line]:
    return [m for m in drawing.marks if isinstance(m, Line) and m.layer is layer]


def test_clock_grows_from_the_top_towards_x() -> None:
    points = [(0, 9, 0), (9, 0, 0), (0, -9, 0), (-9, 0, 0), (-9, 0.1, 0)]
    found = clock_gaps(points, [1.0, 2.0, 3.0, 5.0, 4.0], slices=4)
    # slices 0–90 holds 0°; 90–180 holds 90°; 180–270 holds 180°; 270–360 holds 270° and a bit more
    assert found.gap_mm.tolist() == [1.0, 2.0, 3.0, 4.0]
    assert found.clock_deg.tolist() == [45.0, 135.0, 225.0, 315.0]


def test_slices_without_the_part_are_unknown_and_infinite_distances_do_not_count() -> None:
    found = clock_gaps([(0, 9, 0), (1, 9, 0), (9, 0, 0)], [np.inf, 7.0, np.nan], slices=4)
    assert found.gap_mm[0] == 7.0
    assert np.isnan(found.gap_mm[1:]).all()


def test_points_and_distances_must_match() -> None:
    with pytest.raises(InputError, match="a distance for each point"):
        clock_gaps(np.zeros((3, 3)), [1.0])


def test_the_curve_is_cut_where_it_leaves_over_the_top_and_nothing_is_drawn_along_it() -> None:
    clock = np.arange(360) + 0.5
    gap = np.full(360, np.nan)
    gap[100:141] = np.abs(clock[100:141] - 120.5) + 1.0  # 1 mm at 120.5°, 1 mm a degree
    gap[60] = 50.0  # a lone slice far off the scale
    drawing = clock_strip(ClockGaps(clock, gap), 2.0, size_mm=(120.0, 48.0))
    (curve,) = of_layer(drawing, Layer.PART)
    top = max(y for _, y in curve.points)
    on_top = [x for x, y in curve.points if y == pytest.approx(top)]
    assert on_top == pytest.approx([curve.points[0][0], curve.points[-1][0]])
    # The scale ends at four times what is asked: 8 mm, 7° to either side.
    (left, right), low = on_top, min(curve.points, key=lambda p: p[1])
    assert (left + right) / 2 == pytest.approx(low[0])
    slope = [(y - low[1]) / (x - low[0]) for x, y in (curve.points[0], curve.points[-1])]
    assert slope[0] == pytest.approx(-slope[1])
    far = clock_strip(ClockGaps(clock, np.full(360, 50.0)), 2.0, size_mm=(120.0, 48.0))
    assert not of_layer(far, Layer.PART)
    assert any(isinstance(m, Text) and m.text == "more than 8.0 mm everywhere" for m in far.marks)


def test_an_eccentric_block_shows_its_gap_round_the_clock() -> None:
    # a block's outer face is flat: r = d / cos φ from its middle, so the gap to a barrel of inner
    # radius R is R − d / cos φ
    block = radial_box(90.0, (150.0, 180.0), (0.0, 20.0), 120.0)
    from clearturn.envelope.sweep import revolved

    barrel = revolved(np.array([(200.0, -50.0), (205.0, -50.0), (205.0, 60.0), (200.0, 60.0)]), 720)
    outer = block.vertices[block.vertices[:, 0] > 179.0]
    found = clock_gaps(outer, surface_distances(outer, barrel, turning=True).distance_mm)
    known = np.isfinite(found.gap_mm)
    assert known.sum() >= 5
    phi = np.degrees(np.arctan2(outer[:, 0], outer[:, 1]))
    for clock, gap in zip(found.clock_deg[known], found.gap_mm[known], strict=True):
        here = phi[abs(phi - clock) <= 0.5]
        wanted = min(200.0 - 180.0 / math.cos(math.radians(p - 90.0)) for p in here)
        assert gap == pytest.approx(wanted, abs=0.01)


def wave() -> ClockGaps:
    clock = np.arange(360) + 0.5
    return ClockGaps(clock, 5.0 + 3.0 * np.cos(np.radians(clock)))


def test_hatching_lies_only_where_the_gap_is_below_what_is_asked() -> None:
    drawing = clock_strip(wave(), 4.0)
    (line,) = of_layer(drawing, Layer.REQUIRED)
    assert line.dash is Dash.CHAIN
    (curve,) = of_layer(drawing, Layer.PART)
    level = line.points[0][1]
    # cos φ < −1/3 from 109.47° to 250.53°; the curve's nodes are half a degree in
    x = np.array([p[0] for p in curve.points])
    at = np.interp([109.47, 250.53], [0.5, 359.5], [x[0], x[-1]])
    hatch = np.array([p for m in of_layer(drawing, Layer.BELOW) for p in m.points])
    assert len(hatch) > 20
    assert hatch[:, 1].max() <= level + 1e-6
    assert hatch[:, 0].min() >= at[0] - 0.1
    assert hatch[:, 0].max() <= at[1] + 0.1
    below = np.interp(hatch[:, 0], x, [p[1] for p in curve.points])
    assert (hatch[:, 1] >= below - 1e-6).all()


@pytest.mark.parametrize("wide", [90.0, 120.0, 240.0])
def test_long_names_are_cut_so_that_the_heading_ends_on_the_strip(wide: float) -> None:
    upper = "caliper bridge bolt head, outboard upper, as scanned"
    lower = "caliper bridge bolt head, outboard lower, as scanned"
    drawing = clock_strip(wave(), 4.0, size_mm=(wide, 48.0), names=(upper, lower))
    (heading,) = [m for m in drawing.marks if isinstance(m, Text) and "gap, mm" in m.text]
    assert heading.at[0] + text_width(heading.text, heading.height_mm) <= wide - 5.0
    assert ("…" in heading.text) == (wide < 240.0)
    assert ("against clock position" in heading.text) == (wide == 240.0)
    plain = clock_strip(wave(), 4.0, size_mm=(wide, 48.0), names=("caliper", "spokes"))
    told = [m.text for m in plain.marks if isinstance(m, Text)]
    assert "caliper – spokes · gap, mm" + ", against clock position" * (wide > 90.0) in told


@pytest.mark.parametrize("required", [0.5, 2.0, 4.0, 5.0, 15.0])
@pytest.mark.parametrize("gap", [np.nan, 1e3])
def test_what_the_strip_says_of_no_curve_lies_on_no_line(gap: float, required: float) -> None:
    clock = np.arange(360) + 0.5
    drawing = clock_strip(ClockGaps(clock, np.full(360, gap)), required)
    (note,) = [m for m in drawing.marks if isinstance(m, Text) and m.anchor == "middle"
               and m.height_mm == 2.6]  # fmt: skip
    (line,) = of_layer(drawing, Layer.REQUIRED)
    level = line.points[0][1]
    assert not note.at[1] - 0.3 * note.height_mm < level < note.at[1] + note.height_mm
    (_, foot), _ = of_layer(drawing, Layer.FRAME)[0].points
    assert foot + 1.0 < note.at[1] < 48.0 - 10.0


def test_nothing_is_hatched_where_all_is_as_asked() -> None:
    assert of_layer(clock_strip(wave(), 1.9), Layer.BELOW) == []


def test_a_part_over_the_top_is_one_stretch() -> None:
    clock = np.arange(360) + 0.5
    gap = np.where((clock > 330) | (clock < 40), 6.0, np.nan)
    (curve,) = of_layer(clock_strip(ClockGaps(clock, gap), 3.0), Layer.PART)
    x = [p[0] for p in curve.points]
    assert len(x) == 70
    assert x == sorted(x)


def test_a_gap_in_the_part_breaks_the_curve() -> None:
    clock = np.arange(360) + 0.5
    gap = np.where(((clock > 30) & (clock < 60)) | ((clock > 80) & (clock < 81)), 6.0, np.nan)
    drawing = clock_strip(ClockGaps(clock, gap), 3.0)
    assert len(of_layer(drawing, Layer.PART)) == 2


@pytest.mark.parametrize("gap", [np.nan, 0.0, -2.0, 1e6])
def test_unusual_gaps_still_draw_on_the_paper(gap: float) -> None:
    drawing = clock_strip(ClockGaps(np.arange(36) * 10.0 + 5.0, np.full(36, gap)), 3.0)
    for m in drawing.simple_marks():
        for x, y in m.points if isinstance(m, Line) else ():
            assert -1e-6 <= x <= 180.0
            assert -1e-6 <= y <= 48.0
    said = any(isinstance(m, Text) and m.text == "no gap within reach" for m in drawing.marks)
    assert said == math.isnan(gap)


@pytest.mark.parametrize("required", [0.3, 1.0, 2.0, 3.0, 5.0, 15.0])
@pytest.mark.parametrize("gap", [np.nan, 1e6])
@pytest.mark.parametrize("size", [(180.0, 48.0), (164.0, 34.0)])
def test_words_in_place_of_a_curve_stand_clear_of_the_line_of_what_is_asked(
    required: float, gap: float, size: tuple[float, float]
) -> None:
    gaps = ClockGaps(np.arange(36) * 10.0 + 5.0, np.full(36, gap))
    drawing = clock_strip(gaps, required, size_mm=size)
    (words,) = [m for m in drawing.marks if isinstance(m, Text) and m.anchor == "middle"
                and ("reach" in m.text or "everywhere" in m.text)]  # fmt: skip
    axis, asked = of_layer(drawing, Layer.FRAME)[0], of_layer(drawing, Layer.REQUIRED)[0]
    low, high = words.at[1] - 0.3 * words.height_mm, words.at[1] + words.height_mm
    for level in (axis.points[0][1], asked.points[0][1]):
        assert level < low or level > high


CALIPER = CaliperDimensions(112.0, 200.0, 178.6, 68.0, 62.0, 27.0, 74.0, 270.0, 6.0)
FIXED = PlacedPart("caliper", "caliper", Motion.FIXED, caliper_mesh(CALIPER, -38.0).mesh, "sizes")


def test_template_is_true_to_size_and_its_bar_is_100_mm() -> None:
    drawing = wheel_template([FIXED], 4.0, pad_z_mm=8.0)
    assert drawing.scale == 1.0
    bar = of_layer(drawing, Layer.FRAME)[0]
    assert math.dist(*bar.points) == pytest.approx(100.0, abs=1e-9)
    assert not any(isinstance(m, Dimension) for m in drawing.marks)


def test_template_s_outer_line_keeps_the_requirement_from_the_section() -> None:
    drawing = wheel_template([FIXED], 4.0, pad_z_mm=8.0)
    block = shapely.box(-106, 112, 24, 200).buffer(-6).buffer(6, quad_segs=64)
    section = block.union(shapely.box(-106, 112, 24, 190)).difference(
        shapely.box(-65, 0, -11, 178.6)
    )
    (outer,) = of_layer(drawing, Layer.REQUIRED)
    places = shapely.points([drawing.to_part(*p) for p in outer.points])
    far = shapely.distance(section, places)
    assert far.min() >= 4.0 - drawing.accuracy_mm
    assert far.max() <= 4.0 + drawing.accuracy_mm
    assert outer.closed


def test_template_stands_on_axis_and_pad() -> None:
    drawing = wheel_template([FIXED], 4.0, pad_z_mm=8.0)
    axis, pad = of_layer(drawing, Layer.AXIS)[:2]
    assert {round(drawing.to_part(*p)[1], 9) for p in axis.points} == {0.0}
    assert {round(drawing.to_part(*p)[0], 9) for p in pad.points} == {8.0}


def test_template_is_of_fixed_parts_with_a_sensible_requirement() -> None:
    turning = PlacedPart("wheel", "wheel", Motion.TURNS, FIXED.mesh, "sizes")
    for parts in ([], [turning], [FIXED, turning]):
        with pytest.raises(InputError, match="of fixed parts"):
            wheel_template(parts, 4.0)
    for bad in (-1.0, math.nan, 100.0):
        with pytest.raises(InputError, match="0 to 100 mm"):
            wheel_template([FIXED], bad)


def test_strip_in_inch_tells_the_same_gaps_in_inch() -> None:
    """1 in is 25.4 mm (NIST SP 811); the levels of the axis are round in the unit told."""
    clock = np.arange(0.5, 360.0)
    gaps = ClockGaps(clock, np.full(360, 12.7))
    texts = [m.text for m in clock_strip(gaps, 25.4 * 0.25, unit="in").marks if isinstance(m, Text)]
    assert "0.250 asked" in texts
    assert any("gap, in, against" in text for text in texts)
    assert {"0.0", "0.2", "0.4", "0.6"} <= set(texts)
