"""What the writers write: SVG in mm for any reader, DXF at the part's size for CAD."""

from __future__ import annotations

import io
import math
import re

import ezdxf
import pytest
import typst
from ezdxf import bbox
from lxml import etree

from clearturn.drawing import (
    DARK,
    LIGHT,
    Dash,
    Dimension,
    Drawing,
    Fill,
    Layer,
    Line,
    Palette,
    Text,
    Tone,
    to_dxf,
    to_svg,
)

SVG = "{http://www.w3.org/2000/svg}"
DRAWING = Drawing(
    (
        Fill((((10, 10), (90, 10), (90, 50), (10, 50)), ((20, 20), (30, 20), (30, 30)))),
        Line(((10, 10), (90, 10), (90, 50), (10, 50)), closed=True),
        Line(((0, 5), (100, 5)), Layer.AXIS, 0.18, dash=Dash.CHAIN),
        Dimension((90.0, 30.0), (91.1, 30.0), (95.0, 40.0), 4.0, "2.20", "±0.31", ("a – b", "x")),
        Text((50, 55), "r < 3 & \"z\" > −1\x07", 2.5, anchor="middle", angle_deg=90.0),
    ),
    (0.0, 0.0, 100.0, 60.0),
    scale=0.5,
    origin=(10.0, 5.0),
    title="A & B <one>",
)  # fmt: skip


def parsed(text: str) -> etree._Element:
    return etree.fromstring(text.encode())


def test_svg_is_well_formed_and_has_its_size_in_mm() -> None:
    root = parsed(to_svg(DRAWING))
    assert root.tag == f"{SVG}svg"
    assert [root.get("width"), root.get("height")] == ["100mm", "60mm"]
    assert root.get("viewBox") == "0 -60 100 60"
    assert root.find(f"{SVG}title").text == "A & B <one>"
    assert [t.text for t in root.iter(f"{SVG}text")][-1] == 'r < 3 & "z" > −1 '


def test_svg_points_up_where_the_drawing_does() -> None:
    root = parsed(to_svg(DRAWING))
    axis = next(p for p in root.iter(f"{SVG}path") if p.get("class") == "axis")
    assert axis.get("d") == "M0 -5L100 -5"
    assert axis.get("stroke-dasharray")
    outline = next(p for p in root.iter(f"{SVG}path") if p.get("stroke") and p.get("d")[-1] == "Z")
    assert outline.get("d").startswith("M10 -10L90 -10")


def test_svg_names_the_fonts_with_a_generic_one_behind() -> None:
    for text in parsed(to_svg(DRAWING)).iter(f"{SVG}text"):
        assert text.get("font-family").endswith("sans-serif")
        assert "B612" in text.get("font-family")


def test_svg_is_set_by_the_report_s_typesetter() -> None:
    # typst reads SVG with another parser; every page of the report goes through it
    page = '#set page(width: 100mm, height: 60mm, margin: 0mm)\n#image(bytes("{}"), format: "svg")'
    svg = to_svg(DRAWING, paper=True).replace("\\", "\\\\").replace('"', '\\"')
    assert typst.compile(page.format(svg).encode()).startswith(b"%PDF")


def luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance of an sRGB colour."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_black_on_white_is_21() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_text_keeps_the_contrast_that_wcag_asks_on_paper_and_parts(palette: Palette) -> None:
    # WCAG 2.2, success criterion 1.4.3 (AA): 4.5 : 1 for text
    for text in (Tone.INK, Tone.QUIET, Tone.ALERT):
        for ground in (Tone.PAPER, Tone.TURNS, Tone.FIXED, Tone.POSED):
            ratio = contrast(palette.colours[text], palette.colours[ground])
            assert ratio >= 4.5, (text, ground, ratio)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_every_tone_has_a_colour(palette: Palette) -> None:
    assert set(palette.colours) == set(Tone)
    assert all(re.fullmatch("#[0-9a-f]{6}", c) for c in palette.colours.values())


def test_dxf_is_valid_and_in_mm_of_the_part() -> None:
    document = ezdxf.read(io.StringIO(to_dxf(DRAWING)))
    assert not document.audit().errors
    assert document.units == ezdxf.units.MM
    outline = document.modelspace().query('LWPOLYLINE[layer=="CT_PART"]')[0]
    assert outline.closed
    low, high = bbox.extents([outline], fast=True)
    # 80 × 40 on paper at 1 : 2, from the origin at (10, 5)
    assert (low.x, low.y) == pytest.approx((0.0, 10.0))
    assert (high.x, high.y) == pytest.approx((160.0, 90.0))


def test_dxf_holds_axis_dimension_and_texts_on_their_layers() -> None:
    space = ezdxf.read(io.StringIO(to_dxf(DRAWING))).modelspace()
    assert [e.dxf.linetype for e in space.query('*[layer=="CT_AXIS"]')] == ["CT_CHAIN"]
    assert len(space.query('SOLID[layer=="CT_DIMENSION"]')) == 2
    assert {e.dxf.text for e in space.query("TEXT")} >= {"2.20 ±0.31", "a – b", "x"}


def test_the_same_drawing_gives_the_same_dxf() -> None:
    assert to_dxf(DRAWING) == to_dxf(Drawing.from_json(DRAWING.as_json()))
    assert ezdxf.options.write_fixed_meta_data_for_testing is False


def lines_of(dimension: Dimension) -> tuple[list[Line], list[Fill], list[Text]]:
    marks = list(Drawing((dimension,), (0, 0, 1, 1)).simple_marks())
    return tuple([m for m in marks if isinstance(m, kind)] for kind in (Line, Fill, Text))


def test_arrows_of_a_short_dimension_stand_outside_and_point_inwards() -> None:
    _, arrows, _ = lines_of(Dimension((0.0, 0.0), (2.0, 0.0), (9.0, 5.0), 20.0, "4.00"))
    for arrow, tip, base_x in zip(arrows, ((0.0, 0.0), (2.0, 0.0)), (-2.4, 4.4), strict=True):
        assert arrow.rings[0][0] == tip
        assert [p[0] for p in arrow.rings[0][1:]] == pytest.approx([base_x] * 2)


def test_arrows_of_a_long_dimension_stand_inside_and_point_outwards() -> None:
    lines, arrows, texts = lines_of(Dimension((0.0, 0.0), (0.0, 20.0), (5.0, 25.0), -20.0, "40.0"))
    for arrow, tip, base_y in zip(arrows, ((0.0, 0.0), (0.0, 20.0)), (2.4, 17.6), strict=True):
        assert arrow.rings[0][0] == tip
        assert [p[1] for p in arrow.rings[0][1:]] == pytest.approx([base_y] * 2)
    assert lines[-1].points[-1] == (-15.0, 25.0)
    assert texts[0].at[0] < -14.0


def test_a_dimension_of_nothing_is_still_drawn() -> None:
    lines, arrows, _ = lines_of(Dimension((1.0, 1.0), (1.0, 1.0), (9.0, 5.0), 5.0, "0.00"))
    assert len(arrows) == 2
    assert all(math.isfinite(v) for line in lines for p in line.points for v in p)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_what_turns_and_what_is_fixed_differ_in_grey_print(palette: Palette) -> None:
    # common practice, no source: a quarter apart in luminance contrast is seen side by side
    turns, fixed = palette.colours[Tone.TURNS], palette.colours[Tone.FIXED]
    assert contrast(turns, fixed) >= 1.25
