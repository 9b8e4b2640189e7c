"""Where the panels lie on the sheet."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QRect

from clearturn_app.window.look import Look

EDGE_PX = 22.0  # the band with the zones
CARD_PX = 60.0
_LEFT_PART = 0.595
_TITLE_PX = 190.0
_ACTIONS_PX = 30.0
_STRIP_PX = 150.0
_PICTURE_PART = 0.40


@dataclass(frozen=True, slots=True)
class Places:
    """Rectangles of all panels; an empty one is not shown."""

    frame: QRect
    card: QRect
    large: QRect
    small: QRect
    strip: QRect
    gaps: QRect
    title: QRect
    actions: QRect


def places(wide: int, high: int, look: Look, *, full: bool) -> Places:
    """Return where everything lies on a sheet of a size, with one view on all of it or not."""
    edge = round(look.px(EDGE_PX))
    frame = QRect(edge, edge, wide - 2 * edge, high - 2 * edge)
    card = QRect(frame.left(), frame.top(), frame.width(), round(look.px(CARD_PX)))
    top = card.bottom() + 1
    actions_high = round(look.px(_ACTIONS_PX))
    left = round(frame.width() * (1.0 if full else _LEFT_PART))
    right = frame.left() + left
    right_wide = frame.right() + 1 - right
    foot = frame.bottom() + 1
    actions = QRect(right, foot - actions_high, right_wide, actions_high)
    none = QRect()
    if full:
        actions = QRect(frame.left(), foot - actions_high, frame.width(), actions_high)
        large = QRect(frame.left(), top, frame.width(), actions.top() - top)
        return Places(frame, card, large, none, none, none, none, actions)
    strip_high = min(round(look.px(_STRIP_PX)), (foot - top) // 4)
    large = QRect(frame.left(), top, left, foot - top - strip_high)
    strip = QRect(frame.left(), large.bottom() + 1, left, strip_high)
    title_high = min(round(look.px(_TITLE_PX)), (foot - top) // 3)
    title = QRect(right, actions.top() - title_high, right_wide, title_high)
    small_high = round((title.top() - top) * _PICTURE_PART)
    small = QRect(right, top, right_wide, small_high)
    gaps = QRect(right, small.bottom() + 1, right_wide, title.top() - small.bottom() - 1)
    return Places(frame, card, large, small, strip, gaps, title, actions)
