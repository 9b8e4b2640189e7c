"""Work on the brake that must be possible with the parts in place: straight moves of simple tools.

Places and directions are in the hub frame of the side that was scanned.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Discriminator

Vec3 = tuple[float, float, float]
Way = Literal["outward", "inward", "outboard", "inboard"]


@dataclass(frozen=True, slots=True)
class BoltOut:
    """A bolt is loosened and drawn out along its axis with a socket on its head.

    Attributes
    ----------
    own : str
        The part the head sits on.
    at_mm : point
        Middle of the head's seat.
    direction : vector
        Out of the hole.
    bolt_length_mm : float
        Under the head: so far it is drawn.
    socket_diameter_mm, socket_length_mm : float
        Of the socket with all that stands straight behind it (common practice: the longest used).
    removed : tuple of str
        Parts that are off the vehicle by then.
    required_mm : float
        Least gap around the tool (common practice, no source).
    """

    what: Literal["bolt out"]
    name: str
    own: str
    at_mm: Vec3
    direction: Vec3
    bolt_length_mm: float
    socket_diameter_mm: float
    socket_length_mm: float
    removed: tuple[str, ...] = ()
    required_mm: float = 1.0


@dataclass(frozen=True, slots=True)
class PadOut:
    """A pad, as a box, is drawn straight out of its caliper.

    Attributes
    ----------
    own : str
        The caliper; the pad slides in it, so it is not judged against it.
    touches : tuple of str
        Parts it touches by intent: the ring.
    clock_deg : float
        Clock position of the pad's middle.
    r_from_mm, r_to_mm, z_from_mm, z_to_mm, width_mm : float
        The pad with its back plate; width along the circumference.
    direction : {"outward", "inward", "outboard", "inboard"}
    way_mm : float
        Until it can be taken.
    """

    what: Literal["pad out"]
    name: str
    own: str
    clock_deg: float
    r_from_mm: float
    r_to_mm: float
    z_from_mm: float
    z_to_mm: float
    width_mm: float
    direction: Way
    way_mm: float
    touches: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    required_mm: float = 1.0


@dataclass(frozen=True, slots=True)
class SpannerOn:
    """A ring spanner is put on a nipple along its axis, and swung.

    Attributes
    ----------
    own : str
        The part the nipple belongs to; its faces within the ring's reach are the nipple itself.
    at_mm : point
        Middle of the nipple's hexagon.
    direction : vector
        Along the nipple, away from its part.
    ring_diameter_mm, ring_height_mm : float
        Of the spanner's ring, outside.
    handle_direction : vector
        Middle of the swing; square to the nipple as far as it goes.
    handle_length_mm, handle_width_mm : float
        From the nipple's axis.
    swing_deg : float
        One sixth of a turn moves a hexagon on by one flat.
    way_mm : float
        Above the nipple's hexagon, from where the spanner comes.
    """

    what: Literal["spanner on"]
    name: str
    own: str
    at_mm: Vec3
    direction: Vec3
    ring_diameter_mm: float
    handle_direction: Vec3
    handle_length_mm: float
    handle_width_mm: float
    ring_height_mm: float = 8.0
    swing_deg: float = 60.0
    way_mm: float = 15.0
    removed: tuple[str, ...] = ()
    required_mm: float = 1.0


@dataclass(frozen=True, slots=True)
class WheelOn:
    """The wheel is put on over studs and caliper, straight along the spin axis, in any turn.

    Attributes
    ----------
    way_mm : float or None
        From where it comes; where None, the studs' length over the wheel pad and 2 mm.
    stud_hole_mm : float or None
        Diameter of the wheel's holes, compared with the job's studs.
    """

    what: Literal["wheel on"]
    name: str
    way_mm: float | None = None
    stud_hole_mm: float | None = None
    removed: tuple[str, ...] = ()
    required_mm: float = 1.0


Access = Annotated[BoltOut | PadOut | SpannerOn | WheelOn, Discriminator("what")]
