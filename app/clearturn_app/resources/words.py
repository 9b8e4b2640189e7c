"""Sentences the window says in more than one place, or that are its own."""

from __future__ import annotations

WELCOME = (
    "This is the demo corner: an invented vehicle with three planted faults, so you can touch "
    "everything.",
    "Choose a row of the gap list to see where it is close; open an operation on the route card "
    "to change a number, and the answer follows.",
    "F1 lists the keys; Ctrl+N, or a scan dropped here, begins a job of your own.",
)

CAUTION = (
    "A clearance on this sheet is a calculation. Makers' limits, local codes and licensed practice "
    "come first; measure before machining, and feel every listed place before driving."
)

KEYS = (
    ("Ctrl+N", "a new job"),
    ("Ctrl+O", "open a job"),
    ("Ctrl+S", "save"),
    ("Ctrl+Shift+S", "save under another name"),
    ("Ctrl+R", "write the clearance report"),
    ("Ctrl+Z", "undo"),
    ("Ctrl+Y", "redo"),
    ("1 … 9, 0", "open an operation of the route card"),
    ("Esc", "fold the slip, or stop what runs"),
    ("Up, Down", "choose a gap"),
    ("G", "look at the chosen gap in the turn section"),
    ("M", "move a part: arrows (with Shift further), Enter writes, Esc puts back"),
    ("W", "turn the wheel: arrows (with Shift further), Home to where the gap is least"),
    ("F", "fit the view under the pointer"),
    ("C", "cut the corner picture at the gap, or show it whole"),
    ("S", "swap section and picture"),
    ("V", "one view on the whole sheet, and back"),
    ("D", "light or dark sheet"),
    ("U", "mm or inch"),
    ("Ctrl++, Ctrl+−", "larger or smaller lettering, 100 to 200 %"),
    ("F5", "check anew"),
    ("F1", "this list"),
)
