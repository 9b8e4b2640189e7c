"""The slip of an operation: a sheet of its own that unfolds under the route card."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import partial
from itertools import groupby

from PySide6.QtCore import QCoreApplication, QEvent, QPoint, QRect, Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import (
    QLabel,
    QLineEdit,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from clearturn.drawing import Tone
from clearturn.job.edits import sign_off_lifted, signed_off
from clearturn.job.model import SignOff
from clearturn_app.sheets.building import building_sections
from clearturn_app.sheets.contents import sections
from clearturn_app.sheets.deeds import DeedRow, FormBlock
from clearturn_app.sheets.entering import Entering, entering_section, object_at, target_of
from clearturn_app.sheets.fields import Deed, Fact, Field, Form, Section
from clearturn_app.sheets.operations import OPERATIONS, Operation, signature_on
from clearturn_app.sheets.rows import FactBlock, FieldRow, SectionHead
from clearturn_app.sheets.style import slip_style
from clearturn_app.views.panel import Word
from clearturn_app.window.look import Look
from clearturn_app.window.session import Session

# Sections, by what each is known as, and how far below the slip's top each stands, px.
Stands = tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class SlipPlace:
    """Where one was on a slip: its operation, which sections lay open, and what was seen."""

    index: int
    open: dict[str, bool]
    stands: Stands


class Slip(QWidget):
    """Shows one operation; each number can be changed, and is taken when it is left.

    Attributes
    ----------
    index : int
        Of the operation shown.
    """

    folded = Signal()
    asked = Signal(str)
    """A deed, by its name."""
    given = Signal(str, dict)
    """A form's deed, and what was written."""

    def __init__(self, session: Session, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session, self.look = session, look
        self.index = 0
        self._rows: dict[str, FieldRow] = {}
        self.deeds: dict[str, Word] = {}
        self.forms: dict[str, FormBlock] = {}
        self._drafts: dict[str, str] = {}
        self._open: dict[str, bool] = {}  # by what a section is known as
        self._known_as: dict[str, str] = {}
        self._heads: dict[str, SectionHead] = {}
        self._bodies: dict[str, QWidget] = {}
        self._short: tuple[int, Stands] | None = None  # where it was scrolled to, and should be
        self._shape: tuple[object, ...] = ()
        self._entering: Entering = None
        self._entered: object = None
        self._area = QScrollArea(self)
        self._area.setWidgetResizable(True)
        self._area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._area.setFrameShape(QScrollArea.Shape.NoFrame)
        self._fold = Word("fold", look, self, size=11.5, keys="Esc")
        self._fold.clicked.connect(self.fold)
        self._name = QLineEdit(self)
        self._name.setPlaceholderText("your name")
        self._name.setAccessibleName("name to sign with")
        self._name.setMaxLength(40)
        self._sign = Word("sign off", look, self, size=11.5)
        self._sign.clicked.connect(self._on_sign)
        self._name.returnPressed.connect(self._on_sign)
        self._signed = QLabel(self)
        self._later = QTimer(self)
        self._later.setSingleShot(True)
        self._later.setInterval(0)
        self._later.timeout.connect(self._fill)
        for signal in (session.job_changed, session.result_changed, session.state_changed,
                       session.sums_changed, session.work.loaded_changed):  # fmt: skip
            signal.connect(self._refresh)
        look.changed.connect(self._restyle)
        self.hide()

    @property
    def operation(self) -> Operation:
        """The operation shown."""
        return OPERATIONS[self.index]

    @property
    def rows(self) -> dict[str, FieldRow]:
        """The fields that are there, by label."""
        return self._rows

    def unfold(self, index: int, place: SlipPlace | None = None) -> None:
        """Show an operation's slip, from its top or where one was on it."""
        self.index = index
        self._open = {} if place is None else dict(place.open)
        self._entering = None
        self._shape, self._short = (), None
        self.setAccessibleName(f"Slip {self.operation.title}")
        self.show()
        self._restyle()
        self._area.verticalScrollBar().setValue(0)
        if place is not None:
            self._scroll_back(place.stands)
        self.setFocus()

    def place(self) -> SlipPlace:
        """Return where one is on the slip."""
        return SlipPlace(self.index, dict(self._open), self._stands())

    def fold(self) -> None:
        """Put the slip away."""
        if self.isVisible():
            self.hide()
            self.folded.emit()

    def _restyle(self) -> None:
        if not self.isVisible():
            return
        self.setStyleSheet(slip_style(self.look))
        for row in self._rows.values():
            row.drop_unfinished()  # it was written in the unit of before
        self._shape = ()
        self._fill()
        self._lay_out()

    def _refresh(self) -> None:
        # At once would take the row away that is just telling its change.
        if self.isVisible():
            self._later.start()

    # -- filling ----------------------------------------------------------------------------

    def _fill(self) -> None:
        session = self.session
        result = session.result if session.is_current else None
        job = session.document.job
        made = sections(self.operation, job, result, self.look, session.sums)
        building = building_sections(
            self.operation, job, session.work.loaded, self.look, session.work.axle
        )
        building += self._sums_to_enter()
        if building:
            rest = [section for section in made if section.title != "nothing yet"]
            # What is done or may wait comes after what is there to be read.
            made = [section for section in building if not section.folded] + rest
            made += [section for section in building if section.folded]
        shape = tuple(
            (s.title, tuple(line.path if isinstance(line, Field) else line for line in s.lines))
            for s in made
        )
        if shape != self._shape:
            stands = self._stands()
            self._shape = shape
            self._build_on(made)
            self._scroll_back(stands)
        else:
            fresh = {line.path: line for s in made for line in s.lines if isinstance(line, Field)}
            for row in self._rows.values():
                if row.field.path in fresh:
                    row.refresh(fresh[row.field.path])
        self._show_signature()
        self.update()

    def _stands(self) -> Stands:
        """Return where the sections stand; first the one that is written in or seen at the top."""
        inside = self._area.widget()
        if inside is None:
            return ()
        at, here = self._area.verticalScrollBar().value(), self.focusWidget()
        if self._short is not None and self._short[0] == at:
            return self._short[1]  # and nobody has scrolled since
        stands = [(self._known_as[title], head.mapTo(inside, QPoint()).y() - at)
                  for title, head in self._heads.items()]  # fmt: skip
        written = [here is not None and body.isAncestorOf(here) for body in self._bodies.values()]
        if any(written):
            first = written.index(True)
        else:
            first = max((i for i, (_, below) in enumerate(stands) if below <= 0), default=0)
        return (*stands[first:], *reversed(stands[:first]))

    def _scroll_back(self, stands: Stands) -> None:
        """Let what was seen stand where it stood: what was built anew may be longer above it."""
        inside = self._area.widget()
        heads = {self._known_as[title]: head for title, head in self._heads.items()}
        kept = next(((heads[name], below) for name, below in stands if name in heads), None)
        if inside is None or kept is None:
            return
        for _ in range(2):  # a line's height is known when its width is, the slip's after that
            QCoreApplication.sendPostedEvents(None, QEvent.Type.LayoutRequest)
        head, below = kept
        bar, wanted = self._area.verticalScrollBar(), head.mapTo(inside, QPoint()).y() - below
        bar.setValue(wanted)
        # A slip that is too short to show it there may be long again in a moment.
        self._short = (bar.value(), stands) if bar.value() < wanted else None

    def _sums_to_enter(self) -> list[Section]:
        job, operation = self.session.document.job, self.operation
        if not operation.sums:
            return []
        if self._entering is not None and object_at(job, *self._entering) != self._entered:
            self._entering = None  # taken in, or gone
        return [entering_section(operation, job, self.look, self._entering)]

    def _on_asked(self, deed: str) -> None:
        if not deed.startswith("enter:"):
            self.asked.emit(deed)
            return
        target = target_of(deed)
        self._entering = None if target == self._entering else target
        self._entered = object_at(self.session.document.job, *target)
        self._fill()

    def _build_on(self, made: list[Section]) -> None:
        """Build anew while someone may be writing: nothing of it is lost, nor the focus."""
        written = {row.field.path: row.unfinished for row in self._rows.values()}
        here = self.focusWidget()
        row = next((r.field.path for r in self._rows.values() if r.editor is here), None)
        form = next(((deed, label) for deed, one in self.forms.items()
                     for label, editor in one.editors.items() if editor is here), None)  # fmt: skip
        for one in self._rows.values():
            one.editor.blockSignals(True)  # taken away is not left: nothing half written is taken
        self._build(made)
        for one in self._rows.values():
            unfinished = written.get(one.field.path)
            if unfinished is not None:
                one.resume(unfinished)
            if one.field.path == row:
                one.editor.setFocus()
        if form is not None and form[0] in self.forms:
            self.forms[form[0]].editors[form[1]].setFocus()

    def _build(self, made: list[Section]) -> None:
        inside = QWidget()
        inside.setObjectName("inside")
        column = QVBoxLayout(inside)
        edge = round(self.look.px(14))
        column.setContentsMargins(edge, round(self.look.px(4)), edge, edge)
        column.setSpacing(round(self.look.px(3)))
        self._rows = {}
        self._heads, self._bodies, self._known_as = {}, {}, {}
        self.deeds, self.forms = {}, {}
        for section in made:
            body = QWidget()
            rows = QVBoxLayout(body)
            rows.setContentsMargins(0, 0, 0, round(self.look.px(10)))
            rows.setSpacing(round(self.look.px(4)))
            is_open = self._open.get(section.known_as, not section.folded)
            head = SectionHead(section.title, self.look, is_open, foldable=len(made) > 1)
            head.switched.connect(partial(self._switch, section, body))
            column.addWidget(head)
            column.addWidget(body)
            self._heads[section.title] = head
            self._bodies[section.title] = body
            self._known_as[section.title] = section.known_as
            self._switch(section, body, is_open)
        column.addStretch(1)
        self._area.setWidget(inside)
        self._order_keys()

    def _row(self, section: Section, line: Field) -> FieldRow:
        row = FieldRow(line, self.session.document, self.look)
        self._rows.setdefault(line.label, row)
        if self._rows[line.label] is not row:
            self._rows[f"{section.title}: {line.label}"] = row
        return row

    def _switch(self, section: Section, body: QWidget, on: bool) -> None:
        self._open[section.known_as] = on
        rows = body.layout()
        if on and rows is not None and rows.count() == 0:
            # Only what is looked at is built: a sum can hold a hundred numbers.
            for is_fact, lines in groupby(section.lines, lambda line: isinstance(line, Fact)):
                if is_fact:
                    facts = [line for line in lines if isinstance(line, Fact)]
                    rows.addWidget(FactBlock(facts, self.look))
                    continue
                for line in lines:
                    if isinstance(line, Field):
                        rows.addWidget(self._row(section, line))
                    elif isinstance(line, Deed):
                        rows.addWidget(self._deed(line))
                    elif isinstance(line, Form):
                        rows.addWidget(self._form(line))
        body.setVisible(on)
        self._order_keys()

    def _order_keys(self) -> None:
        """Let Tab walk down the slip: what was built last would else come after the signature."""
        inside = self._area.widget()
        if inside is None:
            return
        before: QWidget = self._fold
        for one in (*inside.findChildren(QWidget), self._name, self._sign):
            # The list of a choice is a window of its own.
            if one.focusPolicy() & Qt.FocusPolicy.TabFocus and one.window() is self.window():
                self.setTabOrder(before, one)
                before = one

    def _deed(self, line: Deed) -> DeedRow:
        row = DeedRow(line, self.look)
        row.asked.connect(self._on_asked)
        self.deeds.update(row.words)
        return row

    def _form(self, line: Form) -> FormBlock:
        block = FormBlock(line, self._drafts, self.look)
        block.given.connect(self.given)
        self.forms[line.deed] = block
        return block

    def forget_drafts(self) -> None:
        """Forget what was written into forms and not taken."""
        self._drafts.clear()

    def open_section(self, title: str) -> None:
        """Unfold the section whose title begins so."""
        for name, head in self._heads.items():
            if name.startswith(title) and not self._open.get(self._known_as[name], False):
                head.switch()

    # -- signing ----------------------------------------------------------------------------

    def _show_signature(self) -> None:
        signed = signature_on(self.session.document.job, self.operation)
        self._signed.setText(f"signed off by {signed.name}, {signed.date}" if signed else "")
        self._signed.setVisible(signed is not None)
        self._name.setVisible(signed is None)
        self._sign.setText("lift signature" if signed else "sign off")
        self._lay_out()

    def _on_sign(self) -> None:
        document, operation = self.session.document, self.operation
        if signature_on(document.job, operation) is not None:
            document.edit(
                f"lift signature on {operation.title}",
                sign_off_lifted(document.job, operation.title),
            )
            return
        name = " ".join(self._name.text().split())
        if not name:
            self._name.setFocus()
            return
        entry = SignOff(operation.title, name, date.today().isoformat())
        document.edit(f"sign off {operation.title}", signed_off(document.job, entry))

    # -- layout and paper -------------------------------------------------------------------

    def resizeEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Lay out heading, lines and foot."""
        self._lay_out()

    def _lay_out(self) -> None:
        px = self.look.px
        head, foot = round(px(40)), round(px(44))
        self._area.setGeometry(2, head, self.width() - 4, self.height() - head - foot)
        size = self._fold.sizeHint()
        self._fold.setGeometry(self.width() - size.width() - round(px(12)), round(px(9)),
                               size.width(), size.height())  # fmt: skip
        top = self.height() - foot
        left = round(px(18))
        size = self._sign.sizeHint()
        high = round(px(26))
        y = top + (foot - high) // 2
        self._name.setGeometry(left, y, round(px(190)), high)
        self._signed.setGeometry(left, y, round(px(300)), high)
        after = self._signed if self._signed.isVisible() else self._name
        beside = after.geometry().right() + round(px(12))
        self._sign.setGeometry(QRect(QPoint(beside, top + (foot - size.height()) // 2), size))

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Fold with Escape."""
        if event.key() == Qt.Key.Key_Escape:
            self.fold()
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Draw the slip's paper, its heading and the lines around it."""
        look = self.look
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), look.colour("slip"))
        painter.setPen(QPen(look.tone(Tone.INK), look.px(1.4)))
        painter.drawLine(0, 0, 0, self.height())
        painter.drawLine(self.width() - 1, 0, self.width() - 1, self.height())
        painter.drawLine(0, self.height() - 1, self.width(), self.height() - 1)
        foot = self.height() - round(look.px(44))
        painter.setPen(QPen(look.tone(Tone.INK), look.px(0.7)))
        painter.drawLine(0, foot, self.width(), foot)
        painter.setFont(look.font("figures", 17, spaced=4))
        painter.drawText(round(look.px(18)), round(look.px(27)), self.operation.title.upper())
