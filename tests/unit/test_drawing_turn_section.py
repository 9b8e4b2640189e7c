"""The turn section says where parts are, how near they come, and where that is too near."""

from __future__ import annotations

import itertools
import json
import math

import numpy as np
import pytest
import shapely

from clearturn.drawing import (
    Dash,
    Dimension,
    Drawing,
    Fill,
    Layer,
    Line,
    Text,
    Tone,
    pair_words,
    swept_outline,
    turn_section,
)
from clearturn.drawing._labels import Label, place_labels
from clearturn.drawing.dimension import label_size, tail_end
from clearturn.drawing.lettering import text_width
from clearturn.drawing.placing import Room
from clearturn.envelope.boxes import radial_box
from clearturn.envelope.sweep import revolved
from clearturn.gap.model import Gap, Interval, State
from clearturn.mesh import Mesh
from clearturn.result import Motion, PairResult, PlacedPart, Verdict


def ring(z_low: float, r_low: float, z_high: float, r_high: float) -> Mesh:
    section = np.array([(r_low, z_low), (r_high, z_low), (r_high, z_high), (r_low, z_high)])
    return revolved(section, 240)


# A barrel at r 206 … 212, a block up to r 203 and z 20, a disc from z 22.2, a rod as scanned.
BARREL = PlacedPart("barrel", "barrel", Motion.TURNS, ring(-100, 206, 60, 212), "made up")
SPOKES = PlacedPart("spokes", "spokes", Motion.TURNS, ring(22.2, 60, 50, 206), "made up")
BLOCK = PlacedPart(
    "caliper", "caliper", Motion.FIXED, radial_box(270.0, (120, 200), (-60, 20), 60.0), "made up"
)
ROD = PlacedPart(
    "tie rod", "tie rod", Motion.POSED, radial_box(120.0, (100, 150), (-120, -90), 20.0), "made up"
)
PARTS = (BARREL, SPOKES, BLOCK, ROD)


def pair(
    second: PlacedPart,
    first_rz: tuple[float, float],
    second_rz: tuple[float, float],
    required: float,
    *,
    uncertainty: float = 0.3,
    verdict: Verdict = Verdict.CLEARS,
) -> PairResult:
    value = math.dist(first_rz, second_rz)
    both = Interval(value, value)
    points = [np.array([-r, 0.0, z]) for r, z in (first_rz, second_rz)]
    gap = Gap(
        State.APART, both, points[0], points[1], 0, 0, (points[1] - points[0]) / value, 0.0,
        np.array(first_rz), np.array(second_rz),
    )  # fmt: skip
    return PairResult(
        "caliper", second.name, "caliper–barrel", "turning", gap, 0.0, both, (), 0.0, both, (),
        uncertainty, value, required, value - uncertainty - required, verdict, 270.0, first_rz[0],
        first_rz[1],
    )  # fmt: skip


# The block's outer corner lies at √(200² + 30²) = 202.24 from the axis, the barrel at 206.
CORNER = math.hypot(200.0, 30.0)
TO_BARREL = pair(BARREL, (CORNER, 0.0), (206.0, 0.0), 3.0)
TO_SPOKES = pair(SPOKES, (150.0, 20.0), (150.0, 22.2), 4.0, verdict=Verdict.FAILS)


@pytest.fixture(scope="module")
def drawing() -> Drawing:
    return turn_section(PARTS, (TO_BARREL, TO_SPOKES))


def dimensions(drawing: Drawing) -> list[Dimension]:
    return [m for m in drawing.marks if isinstance(m, Dimension)]


def test_dimension_lines_are_as_long_as_the_gap_to_scale(drawing: Drawing) -> None:
    found = {d.value: math.dist(d.first, d.second) / drawing.scale for d in dimensions(drawing)}
    assert found == {
        "2.20": pytest.approx(2.2, abs=1e-9),
        f"{206 - CORNER:.2f}": pytest.approx(206 - CORNER, abs=1e-9),
    }


def test_dimension_says_uncertainty_requirement_verdict_and_place(drawing: Drawing) -> None:
    worst = next(d for d in dimensions(drawing) if d.value == "2.20")
    assert worst.deviation == "±0.30"
    assert worst.notes == ("caliper – spokes", "4.0 asked · fails", "270° · r 150.0 · z 20.0")
    assert worst.tone is Tone.ALERT
    assert [d.tone for d in dimensions(drawing) if d is not worst] == [Tone.INK]


def test_dimension_ends_on_the_outlines(drawing: Drawing) -> None:
    for d in dimensions(drawing):
        for end in (d.first, d.second):
            place = shapely.Point(drawing.to_part(*end))
            nearest = min(shapely.boundary(swept_outline(p.mesh).area).distance(place)
                          for p in PARTS)  # fmt: skip
            assert nearest <= drawing.accuracy_mm


def fill_areas(drawing: Drawing, tone: Tone) -> shapely.Geometry:
    polygons = [
        shapely.Polygon(m.rings[0], m.rings[1:])
        for m in drawing.marks
        if isinstance(m, Fill) and m.tone is tone and m.layer is Layer.PART
    ]
    return shapely.transform(
        shapely.union_all(polygons), lambda p: (p - np.array(drawing.origin)) / drawing.scale
    )


def test_parts_lie_where_they_are_in_the_tone_of_their_motion(drawing: Drawing) -> None:
    turns = shapely.union_all([shapely.box(-100, 206, 60, 212), shapely.box(22.2, 60, 50, 206)])
    assert shapely.symmetric_difference(fill_areas(drawing, Tone.TURNS), turns).area < 0.15 * 800
    block = shapely.box(-60, 120, 20, CORNER)
    assert shapely.symmetric_difference(fill_areas(drawing, Tone.FIXED), block).area < 0.15 * 400
    # the rod is drawn as far as the other parts reach
    rod = shapely.box(-100, 100, -90, math.hypot(150, 10))
    assert shapely.symmetric_difference(fill_areas(drawing, Tone.POSED), rod).area < 0.15 * 150


def test_posed_parts_are_dashed_and_nothing_rests_on_tone_alone(drawing: Drawing) -> None:
    rod = shapely.box(-121, 99, -89, 152)
    for line in drawing.marks:
        if isinstance(line, Line) and line.layer is Layer.PART:
            inside = rod.contains(shapely.MultiPoint([drawing.to_part(*p) for p in line.points]))
            assert (line.dash is Dash.DASHED) == inside


def test_tight_places_are_hatched_between_the_parts_and_nowhere_else(drawing: Drawing) -> None:
    hatch = [m for m in drawing.marks if isinstance(m, Line) and m.layer is Layer.BELOW]
    foot = 12.0  # the legend's swatch lies below
    inside = [drawing.to_part(*p) for m in hatch for p in m.points if p[1] > foot]
    assert inside
    z, r = np.array(inside).T
    # Between the block's face at z 20 and the spokes at 22.2; the barrel's 3.76 clears 3.0.
    assert z.min() >= 20.0 - 0.3
    assert z.max() <= 22.2 + 0.3
    assert r.min() >= 120.0 - 4.0
    assert r.max() <= CORNER + 4.0


def test_nothing_is_hatched_where_every_gap_is_as_asked() -> None:
    made = turn_section(PARTS, (TO_BARREL,))
    assert not [m for m in made.marks if isinstance(m, Line) and m.layer is Layer.BELOW]


def test_requirement_line_keeps_its_distance_from_the_fixed_part(drawing: Drawing) -> None:
    outline = swept_outline(BLOCK.mesh).area
    found = set()
    for m in drawing.marks:
        if isinstance(m, Line) and m.layer is Layer.REQUIRED and m.points[0][1] > 12.0:
            assert m.dash is Dash.CHAIN
            places = shapely.points([drawing.to_part(*p) for p in m.points])
            far = shapely.distance(outline, places)
            found.add(round(float(far.mean()), 1))
            assert far == pytest.approx(np.full(len(far), far.mean()), abs=0.05)
    assert found == {3.0, 4.0}


FOUR_AT_THE_BARREL = [
    pair(BARREL, (CORNER, z), (206.0, z), 3.0) for z in (-55.0, -35.0, -15.0, 5.0)
]
NEAR_THE_AXIS = [TO_BARREL, pair(SPOKES, (70.0, 47.8), (70.0, 50.0), 1.0)]


@pytest.mark.parametrize(
    ("pairs", "size_mm"),
    [(FOUR_AT_THE_BARREL, (180.0, 150.0)),
     *((NEAR_THE_AXIS, (wide, 70.0)) for wide in (150.0, 160.0, 170.0, 180.0))],
)  # fmt: skip
def test_labels_overlap_neither_each_other_nor_outlines(
    pairs: list[PairResult], size_mm: tuple[float, float]
) -> None:
    pairs = [*pairs, TO_SPOKES]
    made = turn_section(PARTS, pairs, size_mm=size_mm)
    boxes = []
    for d in dimensions(made):
        wide, up, down = label_size(d)
        left = min(d.elbow[0], d.elbow[0] + d.shelf_mm)
        boxes.append(shapely.box(left, d.elbow[1] - down, left + wide, d.elbow[1] + up))
    for m in made.marks:
        if isinstance(m, Text) and m.anchor != "middle":
            wide = text_width(m.text, m.height_mm, m.face)
            boxes.append(shapely.box(m.at[0], m.at[1], m.at[0] + wide, m.at[1] + m.height_mm))
    assert len(dimensions(made)) == len(pairs)
    for a, b in itertools.combinations(boxes, 2):
        assert not a.intersects(b)
    outlines = [m for m in made.marks if isinstance(m, Line) and m.layer is Layer.PART]
    for m in outlines:
        line = shapely.LineString([*m.points, m.points[0]] if m.closed else m.points)
        assert not any(line.intersects(b) for b in boxes)
    paper = shapely.box(*made.bounds)
    assert all(paper.contains(b) for b in boxes)


def test_every_mark_lies_on_the_paper(drawing: Drawing) -> None:
    low_x, low_y, high_x, high_y = drawing.bounds
    assert high_x - low_x == 180.0
    assert high_y - low_y <= 150.0
    for m in drawing.simple_marks():
        points = {Line: lambda m: m.points, Fill: lambda m: sum(m.rings, ()),
                  Text: lambda m: (m.at,)}[type(m)](m)  # fmt: skip
        for x, y in points:
            assert low_x <= x <= high_x
            assert low_y <= y <= high_y


def test_scale_bar_is_as_long_as_it_says(drawing: Drawing) -> None:
    label = next(m for m in drawing.marks if isinstance(m, Text) and m.text.endswith(" mm")
                 and m.at[1] < 10)  # fmt: skip
    length = float(label.text.removesuffix(" mm"))
    blocks = [m for m in drawing.marks if isinstance(m, Line) and m.layer is Layer.FRAME
              and m.closed and m.points[0][0] < label.at[0]]  # fmt: skip
    x = [p[0] for m in blocks for p in m.points]
    assert (max(x) - min(x)) / drawing.scale == pytest.approx(length)
    said = next(m.text for m in drawing.marks if isinstance(m, Text) and "scale 1 : " in m.text)
    assert 1 / float(said.split("1 : ")[1]) == pytest.approx(drawing.scale)


def test_figures_are_told_in_inch_when_asked_for(drawing: Drawing) -> None:
    """1 in is 25.4 mm (NIST SP 811)."""
    inch = turn_section(PARTS, (TO_BARREL, TO_SPOKES), unit="in")
    for one, two in zip(dimensions(drawing), dimensions(inch), strict=True):
        assert float(two.value) == pytest.approx(float(one.value) / 25.4, abs=6e-4)
        assert one.first == two.first
    (bar,) = [m for m in inch.marks if isinstance(m, Text) and m.text.endswith(" in")]
    assert bar.text in ("1 in", "2 in", "5 in")


def test_long_names_are_cut_in_labels_and_short_ones_are_not() -> None:
    assert pair_words("caliper", "barrel") == "caliper – barrel"
    first, second = pair_words("Bremssattelhalteverschraubung", "rotor").split(" – ")
    assert first.startswith("Bremssat")
    assert "…" in first
    assert len(first) <= 18
    assert second == "rotor"


def test_long_names_that_begin_alike_stay_apart_and_as_short_as_two_short_ones() -> None:
    upper, lower = "caliper bridge bolt head, upper", "caliper bridge bolt head, lower"
    first, second = pair_words(upper, lower).split(" – ")
    assert first != second
    assert len(first) + len(second) <= 22


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("wide", [130.0, 164.0, 184.0, 240.0])
def test_scale_bar_ends_before_the_legend_begins(unit: str, wide: float) -> None:
    made = turn_section(PARTS, (TO_BARREL, TO_SPOKES), unit=unit, size_mm=(wide, 120.0))
    (bar,) = [m for m in made.marks if isinstance(m, Text) and m.text.endswith(f" {unit}")]
    legend = ("turns", "fixed", "as scanned only", "asked", "below asked")
    first = min(m.at[0] for m in made.marks if isinstance(m, Text) and m.text in legend)
    assert bar.at[0] + text_width(bar.text, bar.height_mm) < first - 8.5


def test_places_go_to_the_paper_and_back(drawing: Drawing) -> None:
    assert drawing.to_part(*drawing.to_paper(-38.0, 175.0)) == pytest.approx((-38.0, 175.0))
    axis = next(m for m in drawing.marks if isinstance(m, Line) and m.layer is Layer.AXIS)
    assert {drawing.to_part(*p)[1] for p in axis.points} == {0.0}


def test_pairs_beside_each_other_round_the_clock_are_not_dimensioned() -> None:
    # two still parts 30 mm apart across the clock: the half plane does not show that distance
    both = Interval(30.0, 30.0)
    gap = Gap(State.APART, both, np.array([15.0, 100.0, 0.0]), np.array([-15.0, 100.0, 0.0]), 0, 0,
              np.array([-1.0, 0.0, 0.0]))  # fmt: skip
    still = PairResult("caliper", "tie rod", "other", "still", gap, 0.0, both, (), 0.0, both, (),
                       0.2, 30.0, 2.0, 1.0, Verdict.CLEARS, 0.0, 100.0, 0.0)  # fmt: skip
    assert dimensions(turn_section(PARTS, (still,))) == []


def test_pairs_far_from_mattering_are_left_to_the_list() -> None:
    far = [pair(BARREL, (150.0, -50.0 + i), (206.0, -50.0 + i), 3.0) for i in range(4)]
    made = turn_section(PARTS, (*far, TO_SPOKES))
    assert len(dimensions(made)) == 2
    assert "2.20" in {d.value for d in dimensions(made)}


def test_no_parts_and_no_pairs_still_make_a_sheet() -> None:
    made = turn_section((), ())
    assert dimensions(made) == []
    assert made.marks


def test_drawing_survives_json(drawing: Drawing) -> None:
    again = Drawing.from_json(json.loads(json.dumps(drawing.as_json(), allow_nan=False)))
    assert again == drawing


def test_the_same_parts_give_the_same_drawing(drawing: Drawing) -> None:
    assert turn_section(PARTS, (TO_BARREL, TO_SPOKES)) == drawing


@pytest.mark.parametrize("seed", [5, 10, 37, 54])
def test_no_leader_crosses_another_where_there_is_room(seed: int) -> None:
    # seven gaps anywhere on the parts, along or across: placed one by one with nothing against it,
    # leaders of these crossed
    random = np.random.default_rng(seed)
    labels = []
    for k in range(7):
        x, y = random.uniform(65, 115), random.uniform(35, 85)
        far = (x, y + 3.0) if random.random() < 0.5 else (x + 3.0, y)
        notes = ("first – second", "3.0 asked · clears", "90° · r 100.0 · z 0.0")
        labels.append(Label((x, y), far, f"{k}.00", "±0.30", notes, Tone.INK))
    room = Room((0.0, 0.0, 180.0, 130.0))
    room.take_box((60.0, 30.0), (120.0, 90.0), 0.4)
    made = place_labels(labels, room)
    assert [one.value for one in made] == [one.value for one in labels]
    ends = [tail_end(one.first, one.second) for one in made]
    leaders = [shapely.LineString([end, one.elbow]) for end, one in zip(ends, made, strict=True)]
    assert not any(a.crosses(b) for a, b in itertools.combinations(leaders, 2))
    for leader, one in zip(leaders, made, strict=True):
        wide, _, down = label_size(one)
        left = min(one.elbow[0], one.elbow[0] + one.shelf_mm)
        notes = shapely.box(left + 1.4, one.elbow[1] - down, left + wide - 1.4, one.elbow[1])
        assert not leader.crosses(notes)
