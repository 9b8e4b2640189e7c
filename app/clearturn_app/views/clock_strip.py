"""The clock strip of the chosen pair."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QPaintEvent
from PySide6.QtWidgets import QWidget

from clearturn.drawing import Tone
from clearturn_app.views.paint import PaintedDrawing, Window
from clearturn_app.views.panel import Panel
from clearturn_app.views.turn_section import PX_PER_MM
from clearturn_app.window.look import Look
from clearturn_app.window.session import Session


class ClockStrip(Panel):
    """Paints gap against clock position, or says why there is none."""

    def __init__(self, session: Session, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(session, look, parent)
        self.setAccessibleName("Clock strip")
        self._painted: PaintedDrawing | None = None
        session.strip_changed.connect(self._take)
        session.chosen_changed.connect(self.update)
        session.state_changed.connect(self.update)

    def _take(self) -> None:
        strip = self.session.strip
        self._painted = PaintedDrawing(strip) if strip is not None else None
        self.update()

    def paper_size(self) -> tuple[float, float]:
        """Return the paper that fits this view at the lettering's size, mm."""
        scale = self.look.px(PX_PER_MM)
        return (round(max(self.width() / scale, 90.0)), round(max(self.height() / scale, 28.0)))

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Paint it."""
        painter = self.painter()
        look, session = self.look, self.session
        if self._painted is not None:
            x0, y0, x1, y1 = self._painted.drawing.bounds
            scale = min(self.width() / (x1 - x0), self.height() / (y1 - y0))
            foot = (self.height() + scale * (y1 - y0)) / 2
            self._painted.paint(painter, Window(scale, -scale * x0, foot, scale), look)
            return
        self.heading(painter, "CLOCK STRIP", "gap against clock position of the chosen pair")
        pair = session.chosen_pair
        words = "No pair is chosen." if pair is None else "This pair has no turning gap to draw."
        if pair is not None and session.tasks.running("strip"):
            words = "Being drawn."
        elif pair is not None and pair.motion != "turning":
            words = f"{pair.first} and {pair.second} do not turn against each other."
        painter.setFont(look.font("text", 12))
        painter.setPen(look.tone(Tone.QUIET))
        painter.drawText(self.rect(), int(Qt.AlignmentFlag.AlignCenter), words)
