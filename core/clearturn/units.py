"""Units: the one inside the program for each kind of quantity, and those a user may write.

Inside, lengths are mm, angles degrees, masses kg, torques N·m, forces N, pressures bar, speeds
km/h and temperatures °C, unless a name says otherwise.

References
----------
Inch, pound and pound-force: NIST Special Publication 811 (2008), appendix B.8 (exact values).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from clearturn.errors import InputError

LengthUnit = Literal["mm", "cm", "m", "in"]

MM_PER_INCH = 25.4  # exact
KG_PER_POUND = 0.45359237  # exact
NEWTON_PER_POUND_FORCE = 4.4482216152605  # exact: 0.45359237 kg × 9.80665 m/s²

# How many mm one of each is.  The units a mesh file may be in.
MM_PER: dict[str, float] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": MM_PER_INCH}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A kind of quantity, its unit inside the program and the units it may be written in.

    Attributes
    ----------
    name : str
        "length", "torque", …
    unit : str
        The unit inside.
    factors : dict of str to float
        ``value_inside = value_written × factor (+ offset)``.
    offsets : dict of str to float
        Only temperature scales have one.
    """

    name: str
    unit: str
    factors: dict[str, float]
    offsets: dict[str, float]

    def parse(self, text: str, unit: str | None = None) -> float:
        """Return what the user wrote, in the unit inside.

        Parameters
        ----------
        text : str
            A number, with or without a unit: "12.5", "0.5 in", "90 lbf·ft".
        unit : str, optional
            The unit meant where none is written; the unit inside by default.

        Raises
        ------
        InputError
            If it is no finite number with a decimal point, or the unit is not of this kind.
        """
        match = _WRITTEN.fullmatch(text.strip())
        if match is None:
            mend = "write a decimal point" if "," in text else None
            raise InputError(f"not a {self.name}", found=repr(text), mend=mend)
        value = float(match["number"].replace("−", "-"))
        return self.inside(value, match["unit"].strip() or unit or self.unit)

    def inside(self, value: float, unit: str) -> float:
        """Return `value` given in `unit` in the unit inside.

        Raises
        ------
        InputError
            If the unit is not of this kind or the value is not finite.
        """
        factor = self.factors.get(unit)
        if factor is None:
            raise InputError(
                f"not a unit of {self.name}", found=repr(unit), allowed=", ".join(self.factors)
            )
        inside = value * factor + self.offsets.get(unit, 0.0)
        if not math.isfinite(inside):
            found = f"{value} {unit}".strip()
            raise InputError(f"a {self.name} must be a finite number", found=found)
        return inside

    def shown(self, value: float, unit: str | None = None) -> float:
        """Return `value` of the unit inside in `unit`."""
        wanted = unit or self.unit
        return (value - self.offsets.get(wanted, 0.0)) / self.factors[wanted]

    def write(self, value: float | None, unit: str | None = None, digits: int = 2) -> str:
        """Return the value as text with its unit; an unknown is a dash.

        Parameters
        ----------
        value : float or None
            In the unit inside.
        unit : str, optional
            The unit to show; the unit inside by default.
        digits : int
            Digits after the point.
        """
        wanted = unit or self.unit
        return f"{number(value, digits, self, wanted)} {wanted}" if value is not None else "–"


def number(
    value: float | None,
    digits: int = 2,
    quantity: Quantity | None = None,
    unit: str | None = None,
) -> str:
    """Return a number as text: a real minus sign, never "-0.00", a dash for an unknown."""
    if value is None:
        return "–"
    shown = value if quantity is None else quantity.shown(value, unit)
    text = f"{shown:.{digits}f}"
    if float(text) == 0.0:
        text = text.removeprefix("-")
    return text.replace("-", "−")


# 0.001 in is 0.025 mm: about the hundredth of a millimetre that is meant.
_INCH_DIGITS = {0: 1, 1: 3, 2: 3, 3: 4}


def digits_in(digits: int, unit: str) -> int:
    """Return how many decimals tell a length in a unit as well as `digits` do in mm."""
    return _INCH_DIGITS[digits] if unit == "in" else digits


def length_text(value_mm: float | None, digits: int = 2, unit: str = "mm") -> str:
    """Return a length as a number in a unit, as finely as `digits` decimals of a mm."""
    return number(value_mm, digits_in(digits, unit), LENGTH, unit)


_WRITTEN = re.compile(r"(?P<number>[-+−]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)(?P<unit>[^\d]*)")

_FOOT_POUND = NEWTON_PER_POUND_FORCE * MM_PER_INCH * 12 / 1000

LENGTH = Quantity("length", "mm", {**MM_PER, "µm": 0.001}, {})
ANGLE = Quantity("angle", "°", {"°": 1.0, "deg": 1.0, "rad": 180.0 / math.pi}, {})
MASS = Quantity("mass", "kg", {"kg": 1.0, "g": 0.001, "lb": KG_PER_POUND}, {})
FORCE = Quantity("force", "N", {"N": 1.0, "kN": 1000.0, "lbf": NEWTON_PER_POUND_FORCE}, {})
TORQUE = Quantity(
    "torque", "N·m", {"N·m": 1.0, "Nm": 1.0, "lbf·ft": _FOOT_POUND, "lbf ft": _FOOT_POUND}, {}
)
PRESSURE = Quantity(
    "pressure",
    "bar",
    {
        "bar": 1.0,
        "MPa": 10.0,
        "kPa": 0.01,
        "psi": NEWTON_PER_POUND_FORCE / (MM_PER_INCH * MM_PER_INCH) * 10.0,
    },
    {},
)
SPEED = Quantity(
    "speed",
    "km/h",
    {"km/h": 1.0, "m/s": 3.6, "mph": MM_PER_INCH * 12 * 5280 / 1e6},
    {},
)
TEMPERATURE = Quantity(
    "temperature",
    "°C",
    {"°C": 1.0, "C": 1.0, "K": 1.0, "°F": 5.0 / 9.0, "F": 5.0 / 9.0},
    {"K": -273.15, "°F": -160.0 / 9.0, "F": -160.0 / 9.0},
)


def mm_per(unit: str) -> float:
    """Return how many mm one `unit` of a mesh file is.

    Raises
    ------
    InputError
        If it is none of mm, cm, m, in.
    """
    factor = MM_PER.get(unit)
    if factor is None:
        raise InputError("not a length unit", found=repr(unit), allowed=", ".join(MM_PER))
    return factor
