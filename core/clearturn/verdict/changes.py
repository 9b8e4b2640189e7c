"""Changes that may clear a pair: what each moves, how far, and what it costs elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearturn.job.judging import CureLimits, VerdictSettings
from clearturn.mesh import Mesh
from clearturn.result import PlacedPart
from clearturn.verdict.places import clock_of

Array = NDArray[np.float64]
Deform = Callable[[Array, float], Array]

WHEEL_KINDS = ("wheel", "barrel", "spokes")
CALIPER_KINDS = ("caliper", "bracket")
RIM_STEP_MM = 25.4
"""From one size code to the next specified rim diameters grow by this (ISO 4000-2, from 17 up)."""


@dataclass(frozen=True, slots=True)
class Move:
    """How a change moves one part: as a whole, or point by point.

    Attributes
    ----------
    along : (3,) ndarray or None
        Movement of the whole part for an amount of 1 mm.
    deform : callable or None
        From points (n, 3) and amount to moved points, where the part does not move as a whole.
    """

    along: Array | None = None
    deform: Deform | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """One way to change a corner by an amount s ≥ 0.

    Attributes
    ----------
    word : str
        The contract's word for it.
    most_mm : float
        Greatest amount looked for.
    moves : mapping of str to Move
        By part name; other parts stay.
    removes_only : bool
        Whether it only takes material away, so that no gap can shrink.
    sign : float
        Of the amount reported: a rotor offset may go either way.
    steps_mm : tuple of float
        Amounts that can be had, ascending; empty if any.
    note : str
        What exactly is changed, for the side effects.
    """

    word: str
    most_mm: float
    moves: Mapping[str, Move]
    removes_only: bool = False
    sign: float = 1.0
    steps_mm: tuple[float, ...] = ()
    note: str = ""

    def reach(self, amount_mm: float) -> float:
        """Return how far any part moves at most."""
        return amount_mm

    def shift(self, name: str, amount_mm: float) -> Array:
        """Return how far a part moves as a whole, (3,) mm."""
        move = self.moves.get(name)
        if move is None or move.along is None:
            return np.zeros(3)
        return np.asarray(amount_mm * move.along)

    def mesh(self, name: str, mesh: Mesh, amount_mm: float) -> Mesh:
        """Return a part's mesh as the change deforms it; the mesh itself if it does not."""
        move = self.moves.get(name)
        if move is None or move.deform is None or amount_mm == 0:
            return mesh
        return Mesh(move.deform(mesh.vertices, amount_mm), mesh.faces, mesh.name)


NOTHING = Change("", 0.0, {})


@dataclass(frozen=True, slots=True)
class Together(Change):
    """The change `own` by an amount, made after the change `base` by a fixed amount."""

    base: Change = NOTHING
    base_mm: float = 0.0
    own: Change = NOTHING

    @classmethod
    def of(cls, base: Change, base_mm: float, own: Change) -> Together:
        """Return `own` with `base` made by `base_mm` before."""
        return cls(
            f"{base.word} and {own.word}", own.most_mm, {**base.moves, **own.moves},
            steps_mm=own.steps_mm, base=base, base_mm=base_mm, own=own,
        )  # fmt: skip

    def reach(self, amount_mm: float) -> float:
        """Return how far any part moves at most."""
        return self.base_mm + amount_mm

    def shift(self, name: str, amount_mm: float) -> Array:
        """Return how far a part moves as a whole, (3,) mm."""
        return self.base.shift(name, self.base_mm) + self.own.shift(name, amount_mm)

    def mesh(self, name: str, mesh: Mesh, amount_mm: float) -> Mesh:
        """Return a part's mesh as both deform it."""
        return self.own.mesh(name, self.base.mesh(name, mesh, self.base_mm), amount_mm)


def changes_for(
    target: tuple[PlacedPart, PlacedPart],
    direction: Array,
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
) -> tuple[Change, ...]:
    """Return the changes that could help a pair.

    Parameters
    ----------
    target : (PlacedPart, PlacedPart)
        The pair to clear.
    direction : (3,) ndarray
        Unit vector from first to second at its closest place.
    parts : sequence of PlacedPart
        All parts of the corner.
    settings : VerdictSettings
    """
    settings = replace(settings, cures=_within(settings.cures, parts))
    limits = settings.cures
    wheel = _wheel_names(parts, settings)
    caliper = [p for p in parts if p.kind == "caliper"]
    carried = [p.name for p in parts if p.kind in CALIPER_KINDS]
    rotor = [p.name for p in parts if p.kind == "rotor"]
    names = {target[0].name, target[1].name}
    has_wheel, has_rotor = bool(names & set(wheel)), bool(names & set(rotor))
    on_caliper = bool(names & {p.name for p in caliper})
    found: list[Change] = []
    if has_wheel and limits.spacer_most_mm > 0:
        found.append(
            Change("spacer", limits.spacer_most_mm, dict.fromkeys(wheel, _along_z(1.0)),
                   steps_mm=tuple(sorted(limits.spacers_mm)))
        )  # fmt: skip
    if has_wheel and on_caliper and caliper:
        found += _caliper_changes(target, direction, caliper, settings)
    if (has_rotor or on_caliper) and rotor and limits.rotor_offset_most_mm > 0:
        hat = _hat_radius(rotor, parts, settings)
        found += [_offset(rotor, hat, carried, settings, sense) for sense in (1.0, -1.0)]
    if (has_rotor or (on_caliper and has_wheel)) and rotor and limits.smaller_rotor_most_mm > 0:
        found.append(_smaller(rotor, caliper, parts, settings))
    barrels = [p.name for p in parts if p.kind == "barrel"]
    if on_caliper and names & set(barrels):
        found.append(
            Change("larger wheel", 3 * RIM_STEP_MM, dict.fromkeys(barrels, Move(deform=_outward)),
                   steps_mm=(RIM_STEP_MM, 2 * RIM_STEP_MM, 3 * RIM_STEP_MM),
                   note="the same barrel on a rim so much larger; the real wheel must be scanned")
        )  # fmt: skip
    return tuple(found)


def _within(limits: CureLimits, parts: Sequence[PlacedPart]) -> CureLimits:
    """Return the limits, none above the size of the corner: further off nothing meets.

    A caliper comes inward up to the axis, not out again on the other side.
    """
    bounds = np.array([one.mesh.bounds for one in parts])
    size = float(np.linalg.norm(bounds[:, 1].max(axis=0) - bounds[:, 0].min(axis=0)))
    middles = [one.mesh.bounds.mean(axis=0) for one in parts if one.kind == "caliper"]
    inward = min((float(np.hypot(one[0], one[1])) for one in middles), default=size)
    return replace(
        limits,
        spacer_most_mm=min(limits.spacer_most_mm, size),
        caliper_inward_most_mm=min(limits.caliper_inward_most_mm, inward),
        trim_most_mm=min(limits.trim_most_mm, size),
        rotor_offset_most_mm=min(limits.rotor_offset_most_mm, size),
        smaller_rotor_most_mm=min(limits.smaller_rotor_most_mm, size),
    )


def _wheel_names(parts: Sequence[PlacedPart], settings: VerdictSettings) -> list[str]:
    return [p.name for p in parts if p.name in settings.wheel_parts or p.kind in WHEEL_KINDS]


def _caliper_changes(
    target: tuple[PlacedPart, PlacedPart],
    direction: Array,
    caliper: Sequence[PlacedPart],
    settings: VerdictSettings,
) -> list[Change]:
    limits = settings.cures
    names = [one.name for one in caliper]
    found = []
    if limits.caliper_inward_most_mm > 0:
        along = -caliper_radius(caliper[0], settings)
        found.append(
            Change("move caliper inward", limits.caliper_inward_most_mm,
                   dict.fromkeys(names, Move(along=along)),
                   steps_mm=_made(limits.caliper_inward_most_mm, limits.made_step_mm))
        )  # fmt: skip
    if limits.trim_most_mm > 0:
        # n points away from the caliper if it is the first of the pair.
        outward = direction if target[0].name in names else -direction
        radial = float(np.hypot(outward[0], outward[1])) >= abs(float(outward[2]))
        side = 1.0 if outward[2] > 0 else -1.0
        move = Move(deform=_inward) if radial else _along_z(-side)
        face = "out" if side > 0 else "in"
        note = "off the radius of its outside" if radial else f"off its {face}board face"
        found.append(
            Change("trim caliper", limits.trim_most_mm, dict.fromkeys(names, move),
                   removes_only=True, note=note)
        )  # fmt: skip
    return found


def caliper_radius(caliper: PlacedPart, settings: VerdictSettings) -> Array:
    """Return the unit radius at the caliper's clock position, hub frame."""
    if settings.caliper is not None and "dimensions" in caliper.source:
        clock = np.radians(settings.caliper.clock_deg)
    else:
        middle = caliper.mesh.vertices.mean(axis=0)
        clock = np.radians(clock_of(middle))
    return np.array([np.sin(clock), np.cos(clock), 0.0])


def _along_z(sense: float) -> Move:
    return Move(along=np.array([0.0, 0.0, sense]))


def moved_radially(points: Array, by: Array | float) -> Array:
    """Return points (n, 3) moved away from the spin axis by a length each, mm."""
    radius = np.hypot(points[:, 0], points[:, 1])
    moved = np.maximum(radius + by, 0.0)
    scale = np.divide(moved, radius, out=np.ones_like(radius), where=radius > 0)
    out = points.copy()
    out[:, :2] *= scale[:, None]
    return out


def _inward(points: Array, s: float) -> Array:
    return moved_radially(points, -s)


def _outward(points: Array, s: float) -> Array:
    return moved_radially(points, s / 2.0)  # s is a diameter


_HAT_SHARE = 0.6  # a hat's wall lies inside this share of the ring's radius


def _hat_radius(
    rotor: Sequence[str], parts: Sequence[PlacedPart], settings: VerdictSettings
) -> float:
    """Return the radius outside which everything of a rotor belongs to its ring or mount."""
    if settings.rotor is not None:
        return settings.rotor.hat_outer_diameter_mm / 2.0 + 1e-6
    return _HAT_SHARE * _greatest_radius(rotor, parts)


def _greatest_radius(rotor: Sequence[str], parts: Sequence[PlacedPart]) -> float:
    return max(float(np.hypot(*p.mesh.vertices[:, :2].T).max()) for p in parts if p.name in rotor)


def _offset(
    rotor: Sequence[str],
    hat: float,
    carried: Sequence[str],
    settings: VerdictSettings,
    inboard: float,
) -> Change:
    """Move ring and caliper along the axis; the hat's flange stays on the hub face."""

    def ring(points: Array, s: float) -> Array:
        out = points.copy()
        # With a shallow hat the ring reaches outboard of the hub face: it moves as a whole.
        moved = (points[:, 2] < -1e-6) | (np.hypot(points[:, 0], points[:, 1]) > hat)
        out[moved, 2] -= inboard * s
        return out

    moves: dict[str, Move] = dict.fromkeys(carried, _along_z(-inboard))
    moves.update(dict.fromkeys(rotor, Move(deform=ring)))
    word = "inboard" if inboard > 0 else "outboard"
    return Change(
        "rotor offset", settings.cures.rotor_offset_most_mm, moves, sign=inboard,
        steps_mm=_made(settings.cures.rotor_offset_most_mm, settings.cures.made_step_mm),
        note=f"ring and caliper {word}",
    )  # fmt: skip


def _made(most_mm: float, step_mm: float) -> tuple[float, ...]:
    """Return the amounts that a part made to order comes in."""
    if step_mm <= 0:
        return ()
    return tuple(step_mm * k for k in range(1, int(most_mm / step_mm + 1e-9) + 1))


def _smaller_sold(settings: VerdictSettings, most_mm: float) -> tuple[float, ...]:
    if settings.rotor is None:
        return ()
    less = (settings.rotor.ring_outer_diameter_mm - one for one in settings.cures.rings_mm)
    return tuple(sorted(one for one in less if 0 < one <= most_mm))


def _smaller(
    rotor: Sequence[str],
    caliper: Sequence[PlacedPart],
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
) -> Change:
    """Take an amount off the ring's diameter; the caliper follows inward by half of it."""
    if settings.rotor is not None:
        ring = settings.rotor
        middle = 0.25 * (ring.ring_outer_diameter_mm + ring.ring_inner_diameter_mm)
    else:
        middle = 0.75 * _greatest_radius(rotor, parts)

    def edge(points: Array, s: float) -> Array:
        radius = np.hypot(points[:, 0], points[:, 1])
        return moved_radially(points, np.where(radius > middle, -s / 2.0, 0.0))

    moves: dict[str, Move] = dict.fromkeys(rotor, Move(deform=edge))
    for one in caliper:
        moves[one.name] = Move(along=-0.5 * caliper_radius(one, settings))
    most = settings.cures.smaller_rotor_most_mm
    return Change(
        "smaller rotor", most, moves, steps_mm=_smaller_sold(settings, most),
        note="off the ring's diameter, the caliper inward by half",
    )  # fmt: skip
