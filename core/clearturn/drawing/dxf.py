"""DXF of a drawing, at the part's own size, for the workshop's CAD.

Every mark goes on a layer named after what it says; lengths are mm of the part, so a drawing at
1 : 2 is written twice as large as on paper.  Fills are left out but for arrowheads: CAD wants
outlines.
"""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from clearturn.drawing.model import DASHES, XY, Dash, Drawing, Fill, Layer, Line, Text
from clearturn.errors import ClearturnError

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

# AutoCAD colour index as DXF defines it: 7 is black on white and white on black, 1 red, 8 grey.
_COLOURS = {Layer.BELOW: 1, Layer.HIDDEN: 8, Layer.REQUIRED: 1, Layer.AXIS: 8}
_lock = threading.Lock()
_LINE_TYPES = {Dash.DASHED: "CT_DASHED", Dash.CHAIN: "CT_CHAIN"}


def to_dxf(drawing: Drawing) -> str:
    """Return the drawing as a DXF R2010 document with its lengths in mm of the part.

    Raises
    ------
    ClearturnError
        If the package that writes DXF is not installed.
    """
    try:
        import ezdxf
        from ezdxf import units
    except ImportError as error:
        raise ClearturnError(
            "DXF cannot be written: the package ezdxf is missing; install clearturn anew"
        ) from error
    with _fixed_identity():
        document = ezdxf.new("R2010", units=units.MM)  # type: ignore[attr-defined]
        for dash, name in _LINE_TYPES.items():
            pattern = _pattern(DASHES[dash], 1.0 / drawing.scale)
            document.linetypes.add(name, pattern, description=str(dash))
        for layer in Layer:
            document.layers.add(f"CT_{layer.upper()}", color=_COLOURS.get(layer, 7))
        document.styles.add("CT_TEXT", font="txt.shx")
        _Writer(document, drawing).write()
        stream = io.StringIO()
        document.write(stream)
    return stream.getvalue()


class _Writer:
    def __init__(self, document: Document, drawing: Drawing) -> None:
        self._space = document.modelspace()
        self._drawing = drawing

    def write(self) -> None:
        for mark in self._drawing.simple_marks():
            attributes: dict[str, Any] = {"layer": f"CT_{mark.layer.upper()}"}
            if isinstance(mark, Line):
                self._line(mark, attributes)
            elif isinstance(mark, Text):
                self._text(mark, attributes)
            elif mark.layer is Layer.DIMENSION:
                self._arrow(mark, attributes)

    def _at(self, place: XY) -> XY:
        return self._drawing.to_part(*place)

    def _line(self, mark: Line, attributes: dict[str, Any]) -> None:
        if mark.dash in _LINE_TYPES:
            attributes["linetype"] = _LINE_TYPES[mark.dash]
        points = [self._at(p) for p in mark.points]
        self._space.add_lwpolyline(points, close=mark.closed, dxfattribs=attributes)

    def _text(self, mark: Text, attributes: dict[str, Any]) -> None:
        from ezdxf.enums import TextEntityAlignment as Align

        attributes |= {"style": "CT_TEXT", "rotation": mark.angle_deg}
        # A font's body is about 1.4 times its capitals, which is what DXF calls the height.
        text = self._space.add_text(
            mark.text, height=mark.height_mm / 1.4 / self._drawing.scale, dxfattribs=attributes
        )
        align = {"start": Align.LEFT, "middle": Align.CENTER, "end": Align.RIGHT}[mark.anchor]
        text.set_placement(self._at(mark.at), align=align)

    def _arrow(self, mark: Fill, attributes: dict[str, Any]) -> None:
        points = [self._at(p) for p in mark.rings[0]]
        if len(points) == 3:  # a solid's fourth corner repeats the third
            self._space.add_solid([*points, points[2]], dxfattribs=attributes)


def _pattern(lengths: tuple[float, ...], factor: float) -> list[float]:
    signed = [n * factor * (1 if i % 2 == 0 else -1) for i, n in enumerate(lengths)]
    return [sum(abs(n) for n in signed), *signed]


@contextmanager
def _fixed_identity() -> Iterator[None]:
    """Let the same drawing give the same bytes: no date, no random mark of this very file."""
    from ezdxf._options import options

    with _lock:  # the setting belongs to the whole package
        before = options.write_fixed_meta_data_for_testing
        options.write_fixed_meta_data_for_testing = True
        try:
            yield
        finally:
            options.write_fixed_meta_data_for_testing = before
