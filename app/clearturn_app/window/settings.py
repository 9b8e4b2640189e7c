"""What the window remembers between runs."""

from __future__ import annotations

from PySide6.QtCore import QByteArray, QSettings

from clearturn_app.window.look import Look
from clearturn_app.window.recovery import state_folder


class Settings:
    """Look, views and place of the window, in a small file."""

    def __init__(self) -> None:
        self._file = QSettings(str(state_folder() / "window.ini"), QSettings.Format.IniFormat)

    def read_look(self, look: Look) -> None:
        """Give the look what was remembered."""
        look.set(dark=self._flag("dark"), inch=self._flag("inch"), zoom=self._number("zoom", 1.0))

    def keep_look(self, look: Look) -> None:
        """Remember the look."""
        self._file.setValue("dark", look.dark)
        self._file.setValue("inch", look.inch)
        self._file.setValue("zoom", look.zoom)

    @property
    def view(self) -> tuple[str, bool]:
        """Which view had the sheet, and whether the two were swapped."""
        return str(self._file.value("view", "both")), self._flag("swapped")

    def keep_view(self, view: str, swapped: bool) -> None:
        """Remember the views."""
        self._file.setValue("view", view)
        self._file.setValue("swapped", swapped)

    @property
    def geometry(self) -> QByteArray | None:
        """The window's place, as Qt writes it."""
        value = self._file.value("geometry")
        return value if isinstance(value, QByteArray) else None

    def keep_geometry(self, geometry: QByteArray) -> None:
        """Remember the window's place."""
        self._file.setValue("geometry", geometry)

    @property
    def welcomed(self) -> bool:
        """Whether the three sentences of the first start were read."""
        return self._flag("welcomed")

    def keep_welcomed(self) -> None:
        """Remember that they were."""
        self._file.setValue("welcomed", True)

    def sync(self) -> None:
        """Write the file."""
        self._file.sync()

    def _flag(self, name: str) -> bool:
        return str(self._file.value(name, "false")).lower() == "true"

    def _number(self, name: str, otherwise: float) -> float:
        try:
            return float(str(self._file.value(name, otherwise)))
        except ValueError:
            return otherwise
