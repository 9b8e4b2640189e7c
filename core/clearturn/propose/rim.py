"""Barrel, width, inset and size of a rim, from its outline about the spin axis."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from clearturn.propose.hub import Seen
from clearturn.propose.model import Scales
from clearturn.propose.view import SECTORS, Array, Ring
from clearturn.trade.kit import RIM_MM

INCH_MM = 25.4
# JIS D 4218:2021, table 3 (ISO 4000-2:2013 modified), J flange: height 17.5 ± 1.0 mm, width at
# least 11 mm.
FLANGE_HEIGHT_MM = 17.5
FLANGE_WIDTH_MM = 12.5  # 11 to 14 is common practice, no source
SIZE_OFF_MM = 2.5  # a diameter this near to a specified one is that size without doubt
WIDTHS_STEP_IN = 0.5
LESS = 0.92  # of the rows before: spokes hide part of the barrel
JUMP_MM = 10.0  # from one row to the next: the disc begins

Found = tuple[dict[str, Any], Scales]


def far_radius(seen: Seen) -> float:
    """Return the greatest radius at which the scan goes round the axis; a bench does not."""
    rounds = [one.at_mm for one in seen.rounds if one.coverage >= 0.35]
    return max(rounds, default=float(np.quantile(seen.view.r, 0.995)))


def barrel_of(seen: Seen) -> Found | str:
    """Return length and least radius of the barrel's inside up to the disc, or why not.

    From the inboard end the inside is followed outboard, row by row, up to the height of the
    spokes' back, or until it is seen over less of the turn or jumps inward: there the disc begins.
    """
    at = seen.view
    reach = far_radius(seen)
    inward = (at.along_r < -0.3) & (at.sideways < 0.25) & (at.r > 0.6 * reach) & (at.r < reach)
    if not inward.any():
        return "no surface of revolution looks at the axis from far out"
    step = max(2.0, 0.7 * at.edge_mm)
    low = float(at.z[inward].min())
    row = ((at.z[inward] - low) / step).astype(np.int64)
    r, sector = at.r[inward], at.sector[inward]
    order = np.argsort(row, kind="stable")
    bounds = np.searchsorted(row[order], np.arange(int(row.max()) + 2))
    back = _spoke_back(seen, reach)
    rows: list[tuple[int, float, float]] = []
    for k in range(len(bounds) - 1):
        if low + k * step > back:
            break
        mine = order[bounds[k] : bounds[k + 1]]
        coverage = len(np.unique(sector[mine])) / SECTORS if len(mine) else 0.0
        if coverage < 0.4:
            if len(rows) > 4:
                break
            rows.clear()
            continue
        middle = float(np.median(r[mine]))
        if rows and middle < rows[-1][1] - JUMP_MM:
            break
        if len(rows) > 4 and coverage < LESS * float(np.median([one[2] for one in rows])):
            break
        rows.append((k, middle, coverage))
    if len(rows) < 5:
        return "the inside of the barrel is not seen over enough of the turn"
    tight = min(rows, key=lambda one: one[1])
    share = float(np.median([one[2] for one in rows]))
    length = (rows[-1][0] - rows[0][0] + 1) * step
    scales = Scales()
    scales.weigh(min(1.0, 0.45 + 0.7 * share), f"seen over {share:.0%} of the turn")
    scales.weigh(1.0 if length > 80.0 else 0.6, f"{length:.0f} mm of it seen along the axis")
    values = {
        "z_from_mm": low + rows[0][0] * step,
        "z_to_mm": low + (rows[-1][0] + 1) * step,
        "least_radius_mm": tight[1],
        "least_radius_z_mm": low + (tight[0] + 0.5) * step,
    }
    return values, scales


def _spoke_back(seen: Seen, reach: float) -> float:
    """Return the height at which the disc's back begins well inside the barrel."""
    at = seen.view
    inside = (at.r > 0.62 * reach) & (at.r < 0.76 * reach) & (at.normals[:, 2] < -0.7)
    if float(at.area[inside].sum()) < 200.0:
        return math.inf
    order = np.argsort(at.z[inside])
    total = np.cumsum(at.area[inside][order])
    return float(at.z[inside][order[np.searchsorted(total, 0.05 * total[-1])]])


def rim_of(seen: Seen) -> Found | str:
    """Return diameter, width and inset of the rim, or why they are not told.

    The tyre side tells most: width between the flanges' inner faces, diameter where the bead
    seats meet them.  Where only the brake side was scanned, the flanges' outsides tell the inset,
    and the size by the usual height and width of a flange.
    """
    top = _flange_top(seen)
    if top is None:
        return "the rim's flanges are not seen over enough of the turn"
    inner = _tyre_side(seen, top)
    if inner is not None:
        return _by_tyre_side(seen, top, *inner)
    outer = _brake_side(seen, top)
    if outer is not None:
        return _by_brake_side(top, *outer)
    return "the faces of the rim's two flanges were not both seen"


def _flange_top(seen: Seen) -> float | None:
    """Return the radius of the flanges' tops."""
    rounds = [one for one in seen.rounds if one.sense > 0 and one.coverage >= 0.35]
    top = max((one.at_mm for one in rounds), default=0.0)
    return top if top > 0.97 * far_radius(seen) else None


def _ends(seen: Seen) -> tuple[float, float]:
    at = seen.view
    reach = far_radius(seen)
    outside = (at.r > 0.85 * reach) & (at.r < reach + 1.0)
    low, high = np.quantile(at.z[outside], [0.003, 0.997])
    return float(low), float(high)


def _tyre_side(seen: Seen, top: float) -> tuple[Ring, Ring] | None:
    """Return the flanges' faces towards the tyre: inboard's, outboard's."""
    low, high = _ends(seen)
    window = [
        one
        for one in seen.flats
        if top - 17.5 < one.from_mm and one.to_mm < top - 2.5 and one.coverage >= 0.35
    ]
    inboard = [one for one in window if one.sense > 0 and one.at_mm < low + 0.25 * (high - low)]
    outboard = [one for one in window if one.sense < 0 and one.at_mm > high - 0.25 * (high - low)]
    if not inboard or not outboard:
        return None
    return max(inboard, key=lambda one: one.area_mm2), max(outboard, key=lambda one: one.area_mm2)


def _brake_side(seen: Seen, top: float) -> tuple[Ring, Ring] | None:
    """Return the flanges' faces away from the tyre: the rim's two ends."""
    low, high = _ends(seen)
    window = [
        one for one in seen.flats if top - 14.0 < one.to_mm < top + 1.0 and one.coverage >= 0.35
    ]
    inboard = [one for one in window if one.sense < 0 and one.at_mm < low + 0.15 * (high - low)]
    outboard = [one for one in window if one.sense > 0 and one.at_mm > high - 0.15 * (high - low)]
    if not inboard or not outboard:
        return None
    return min(inboard, key=lambda one: one.at_mm), max(outboard, key=lambda one: one.at_mm)


def _by_tyre_side(seen: Seen, top: float, inboard: Ring, outboard: Ring) -> Found | str:
    width = outboard.at_mm - inboard.at_mm
    scales = Scales()
    seats = [
        r
        for flange, way in ((inboard, 1.0), (outboard, -1.0))
        if (r := _seat_radius(seen, flange, way)) is not None
    ]
    if seats:
        diameter = 2.0 * float(np.mean(seats))
        scales.weigh(1.0, f"the bead seats meet the flanges at Ø {diameter:.1f} mm")
        if len(seats) == 2 and abs(seats[0] - seats[1]) > 1.5:
            apart = 2 * abs(seats[0] - seats[1])
            scales.weigh(0.6, f"the two seats differ by {apart:.1f} mm on diameter")
    else:
        diameter = 2.0 * (top - FLANGE_HEIGHT_MM)
        scales.weigh(
            0.75, f"no bead seat seen; the flange's top less twice 17.5 mm is Ø {diameter:.1f} mm"
        )
    values = _sized(diameter, scales)
    _wide(values, width, 0.0, scales)
    inset = -0.5 * (inboard.at_mm + outboard.at_mm)
    values |= {
        "inset_mm": inset,
        "z_from_mm": inboard.at_mm,
        "z_to_mm": outboard.at_mm,
        "seen_from": "tyre side",
    }
    scales.weigh(1.0, f"middle between the flanges' inner faces {inset:.1f} mm inboard of the pad")
    return values, scales


def _by_brake_side(top: float, inboard: Ring, outboard: Ring) -> Found | str:
    scales = Scales()
    scales.weigh(0.85, "the tyre side was not scanned")
    diameter = 2.0 * (top - FLANGE_HEIGHT_MM)
    scales.weigh(1.0, f"the flange's top less twice 17.5 mm is Ø {diameter:.1f} mm")
    values = _sized(diameter, scales)
    overall = outboard.at_mm - inboard.at_mm
    _wide(values, overall - 2.0 * FLANGE_WIDTH_MM, 3.0, scales)
    inset = -0.5 * (inboard.at_mm + outboard.at_mm)
    values |= {"inset_mm": inset, "overall_width_mm": overall, "seen_from": "brake side"}
    scales.weigh(0.95, f"middle of the rim's two ends {inset:.1f} mm inboard of the pad")
    return values, scales


def _sized(diameter: float, scales: Scales) -> dict[str, Any]:
    """Return the specified size next to a measured diameter."""
    code = min(RIM_MM, key=lambda one: abs(RIM_MM[one] - diameter))
    off = diameter - RIM_MM[code]
    sure = abs(off) <= SIZE_OFF_MM
    scales.weigh(
        1.0 if sure else math.exp(-(abs(off) - SIZE_OFF_MM) / 3.0),
        f"{off:+.1f} mm from the specified Ø {RIM_MM[code]:.1f} mm of size {code}",
    )
    return {
        "diameter_code": code,
        "specified_diameter_mm": RIM_MM[code],
        "measured_diameter_mm": diameter,
    }


def _wide(values: dict[str, Any], width: float, spread: float, scales: Scales) -> None:
    """Add the width and the usual step next to it."""
    near = round(width / INCH_MM / WIDTHS_STEP_IN) * WIDTHS_STEP_IN
    off = width - near * INCH_MM
    values |= {"width_mm": width, "width_in": near}
    about = "" if spread == 0.0 else f" ± {spread:.0f}"
    room = WIDTHS_STEP_IN * INCH_MM / 2.0 - spread
    scales.weigh(
        1.0 if abs(off) < min(1.6, room) else 0.7,
        f"{width:.1f}{about} mm between the flanges, {off:+.1f} mm from {near:g} inches",
    )


def _seat_radius(seen: Seen, flange: Ring, way: float) -> float | None:
    """Return the radius at which a bead seat meets its flange; it rises to it by 5°.

    A line through the seat's middle part, carried on to the flange's face.
    """
    at = seen.view
    off = way * (at.z - flange.at_mm)
    near = (off > 3.0) & (off < 20.0) & (at.along_r > 0.95) & (at.sideways < 0.2)
    near &= (at.r < flange.from_mm + 3.0) & (at.r > flange.from_mm - 12.0)
    if len(np.unique(at.sector[near])) < 0.3 * SECTORS:
        return None
    x, r = off[near], at.r[near]
    slope, start = _line(x, r, at.area[near])
    if not -0.02 - math.tan(math.radians(8.0)) < slope < 0.05:
        slope, start = 0.0, float(np.median(r))
    return start


def _line(x: Array, y: Array, area: Array) -> tuple[float, float]:
    """Return slope and start of the line most of the points lie on."""
    weight = np.sqrt(area)
    rows = np.column_stack([x, np.ones_like(x)])
    answer = np.zeros(2)
    for _ in range(8):
        answer, *_ = np.linalg.lstsq(rows * weight[:, None], y * weight, rcond=None)
        off = np.abs(rows @ answer - y)
        scale = max(1.4826 * float(np.median(off)), 0.02)
        weight = np.sqrt(area) / np.sqrt(1.0 + (off / (2.0 * scale)) ** 2)
    return float(answer[0]), float(answer[1])
