"""The style of the few ready-made widgets a slip uses."""

from __future__ import annotations

from clearturn.drawing import Tone
from clearturn_app.window.look import Look


def slip_style(look: Look) -> str:
    """Return the style sheet for places to write in, choices and scroll bars."""
    ink, quiet = look.tone(Tone.INK).name(), look.tone(Tone.QUIET).name()
    alert = look.tone(Tone.ALERT).name()
    sheet = look.sheet
    size, small = round(look.px(12.5)), round(look.px(11))
    return f"""
    QWidget#inside, QScrollArea {{ background: {sheet.slip}; }}
    QLabel {{ color: {ink}; font-family: "B612"; font-size: {size}px; background: transparent; }}
    QLabel[quiet="true"] {{ color: {quiet}; font-size: {small}px; }}
    QLabel[strong="true"] {{ font-weight: bold; }}
    QLabel[fault="true"] {{ color: {alert}; font-size: {small}px; font-weight: bold; }}
    QLineEdit, QComboBox, QPlainTextEdit {{
        color: {ink}; background: {sheet.field}; border: 1px solid {quiet}; border-radius: 0px;
        padding: {round(look.px(2))}px {round(look.px(5))}px;
        font-family: "B612"; font-size: {size}px; selection-background-color: {ink};
        selection-color: {sheet.field}; placeholder-text-color: {quiet};
    }}
    QLineEdit:focus, QComboBox:focus, QPlainTextEdit:focus {{ border: 2px solid {ink}; }}
    QLineEdit[fault="true"], QPlainTextEdit[fault="true"] {{ border: 2px solid {alert}; }}
    QComboBox::drop-down {{ border: 0px; width: {round(look.px(14))}px; }}
    QComboBox QAbstractItemView {{
        color: {ink}; background: {sheet.field}; selection-background-color: {ink};
        selection-color: {sheet.field}; border: 1px solid {ink};
    }}
    {bar_style(look)}
    """


def bar_style(look: Look) -> str:
    """Return the style of scroll bars: a thin line with a block on it."""
    ink = look.tone(Tone.QUIET).name()
    wide = round(look.px(9))
    return f"""
    QScrollBar:vertical {{ background: transparent; width: {wide}px; margin: 0px; }}
    QScrollBar::handle:vertical {{ background: {ink}; min-height: {round(look.px(24))}px;
        margin: 0px {max(1, wide // 3)}px; }}
    QScrollBar:horizontal {{ background: transparent; height: {wide}px; margin: 0px; }}
    QScrollBar::handle:horizontal {{ background: {ink}; min-width: {round(look.px(24))}px;
        margin: {max(1, wide // 3)}px 0px; }}
    QScrollBar::add-line, QScrollBar::sub-line {{ height: 0px; width: 0px; }}
    QScrollBar::add-page, QScrollBar::sub-page {{ background: transparent; }}
    """
