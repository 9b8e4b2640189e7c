"""Two changes together, sizes that can be had, and what else would fit: against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from clearturn.corner.pairs import PairSpec
from clearturn.envelope import CaliperDimensions, RotorDimensions
from clearturn.job.judging import CureLimits, SeatStack, Stud, VerdictSettings
from clearturn.mesh import Mesh
from clearturn.result import Motion, PlacedPart, Verdict
from clearturn.verdict import judge_corner, judge_pairs
from clearturn.verdict.changes import Change, Move, Together


def turned(
    name: str, kind: str, profile: list[tuple[float, float]], turns: int = 720
) -> PlacedPart:
    p, a = np.asarray(profile, float), 2 * np.pi * np.arange(turns) / turns
    points = np.concatenate(
        [np.stack([r * np.cos(a), r * np.sin(a), np.full(turns, z)], axis=1) for r, z in p]
    )
    faces = []
    for i in range(len(p)):
        j = (i + 1) % len(p)
        for k in range(turns):
            m = (k + 1) % turns
            q = [i * turns + k, i * turns + m, j * turns + m, j * turns + k]
            faces += [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]
    return PlacedPart(name, kind, Motion.TURNS, Mesh(points, faces, name), "dimensions")


def block(name: str, low: Any, high: Any) -> PlacedPart:
    x = np.array([[a, b, c] for a in (0, 1) for b in (0, 1) for c in (0, 1)], float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    points = np.asarray(low, float) + x * (np.asarray(high, float) - np.asarray(low, float))
    return PlacedPart(name, name, Motion.FIXED, Mesh(points, faces, name), "dimensions")


CALIPER = block("caliper", [130, -5, -60], [190, 5, 20])  # outboard face z 20, corner √(190² + 5²)
CORNER = math.hypot(190.0, 5.0)
RING = turned("rotor", "rotor", [(60, 8), (60, -55), (125, -55), (125, 0), (65, 0), (65, 8)], 96)
SPOKES = PairSpec("caliper", "spokes", "caliper–spokes", "turning", 4.0)
BARREL = PairSpec("caliper", "barrel", "caliper–barrel", "turning", 3.0)
STUD = Stud(42.0, "M14×1.5", 10.0, 14.0, 18.0)
NONE = CureLimits(
    spacer_most_mm=0.0, caliper_inward_most_mm=0.0, trim_most_mm=0.0, rotor_offset_most_mm=0.0,
    smaller_rotor_most_mm=0.0,
)  # fmt: skip


def disc(z: float) -> PlacedPart:
    return turned("spokes", "spokes", [(70, z), (180, z), (180, z + 8), (70, z + 8)], 96)


def barrel(radius: float = 200.0) -> PlacedPart:
    return turned(
        "barrel", "barrel", [(radius, -90), (radius + 5, -90), (radius + 5, 60), (radius, 60)]
    )


def settings(cures: CureLimits, **more: Any) -> VerdictSettings:
    return VerdictSettings(
        cures=cures, seat_stack=SeatStack(8.0, 8.0), stud=STUD, wheel_parts=("spokes", "barrel"),
        **more,
    )  # fmt: skip


# --- together --------------------------------------------------------------------------------


def test_change_made_after_another_moves_parts_by_both() -> None:
    base = Change("a", 5.0, {"x": Move(along=np.array([0.0, 0.0, 1.0]))})
    own = Change("b", 5.0, {"x": Move(along=np.array([0.0, 1.0, 0.0]))})
    both = Together.of(base, 2.0, own)
    assert both.shift("x", 3.0) == pytest.approx([0.0, 3.0, 2.0])
    assert both.shift("y", 3.0) == pytest.approx([0.0, 0.0, 0.0])
    assert both.reach(3.0) == 5.0
    grow = Change("c", 5.0, {"x": Move(deform=lambda points, s: points * (1.0 + s))})
    mesh = Together.of(grow, 1.0, grow).mesh("x", CALIPER.mesh, 0.5)
    assert mesh.vertices == pytest.approx(CALIPER.mesh.vertices * 2.0 * 1.5)


def test_spacer_and_offset_clear_together_where_neither_does_alone() -> None:
    # Spokes at 22.2: 4.0 − 2.2 = 1.8 are missing; spacer and offset give 1.0 each at most.
    cures = replace(
        NONE, spacer_most_mm=1.0, spacers_mm=(0.5, 1.0), rotor_offset_most_mm=1.0, made_step_mm=0.1
    )
    parts = [CALIPER, disc(22.2), barrel(), RING]
    found = judge_pairs(parts, [SPOKES, BARREL], settings(cures))
    assert found[0].verdict is Verdict.FAILS
    assert found[0].would_clear == ()
    (joint,) = found[0].would_clear_together
    amounts = dict(joint.changes)
    assert set(amounts) == {"spacer", "rotor offset"}
    # In sizes that can be had, neither more than one step over what is missing.
    assert 1.8 <= sum(amounts.values()) <= 1.8 + 0.1 + 1e-6
    assert joint.clears_all
    told = " | ".join(joint.side_effects)
    # 42 − (8 + spacer) − 10 of thread; 18 − (8 + spacer) of register; track + 2 · spacer.
    assert f"{24.0 - amounts['spacer']:.1f} mm of M14×1.5 thread" in told
    assert f"{10.0 - amounts['spacer']:.1f} mm of register" in told
    assert f"track grows by {2 * amounts['spacer']:.1f} mm" in told
    assert "bracket and pads move with the ring" in told
    assert found[1].would_clear_together == ()


def test_joint_cure_is_not_looked_for_where_one_change_does() -> None:
    parts = [CALIPER, disc(22.2), barrel(), RING]
    found = judge_pairs(parts, [SPOKES, BARREL], settings(CureLimits()))
    assert any(cure.keeps for cure in found[0].would_clear)
    assert found[0].would_clear_together == ()


def test_joint_cure_keeps_the_pairs_that_clear() -> None:
    # A barrel that narrows inboard by 1 in 2: each mm of spacer costs the caliper's corner about
    # half a mm, so the spacer that opens the spokes breaks the barrel, and the caliper must go in.
    taper = turned(
        "barrel", "barrel", [(140.0, -90), (205.0, 40), (215.0, 40), (150.0, -90)]
    )  # fmt: skip
    caliper = block("caliper", [130, -1, -5], [181, 1, 20])
    pair = PairSpec("caliper", "barrel", "caliper–barrel", "turning", 0.5)
    cures = replace(
        NONE, spacer_most_mm=15.0, caliper_inward_most_mm=10.0, spacers_mm=(4.0, 5.0),
        made_step_mm=0.5,
    )  # fmt: skip
    found = judge_pairs([caliper, disc(20.5), taper], [SPOKES, pair], settings(cures))
    (spacer,) = [cure for cure in found[0].would_clear if cure.change == "spacer"]
    assert not spacer.keeps
    (joint,) = found[0].would_clear_together
    amounts = dict(joint.changes)
    assert set(amounts) == {"spacer", "move caliper inward"}
    assert amounts["spacer"] == 4.0  # 3.5 are missing
    assert amounts["move caliper inward"] % 0.5 == pytest.approx(0.0)
    assert joint.clears_all
    # Checked by making both: the corner is judged again as it would be.
    moved = replace(
        caliper,
        mesh=Mesh(
            caliper.mesh.vertices - [amounts["move caliper inward"], 0, 0], caliper.mesh.faces
        ),
    )
    up = np.array([0, 0, amounts["spacer"]])
    wheel = [
        replace(one, mesh=Mesh(one.mesh.vertices + up, one.mesh.faces))
        for one in (disc(20.5), taper)
    ]
    again = judge_pairs([moved, *wheel], [SPOKES, pair], settings(NONE))
    assert [one.verdict for one in again] == [Verdict.CLEARS, Verdict.CLEARS]


# --- sizes that can be had -------------------------------------------------------------------


def test_amounts_are_taken_up_to_what_is_made_or_sold() -> None:
    parts = [CALIPER, disc(22.2), barrel(), RING]
    found = judge_pairs(parts, [SPOKES, BARREL], settings(CureLimits()))
    by_word = {cure.change: cure for cure in found[0].would_clear}
    assert by_word["spacer"].offered_mm == 3.0  # 1.8 are missing; 3 is the thinnest sold
    assert by_word["rotor offset"].offered_mm == 2.0  # made in half millimetres
    assert by_word["trim caliper"].offered_mm is None


def test_smaller_ring_comes_in_a_diameter_on_sale() -> None:
    ring = turned("rotor", "rotor", [(111, -55), (175, -55), (175, -21), (111, -21)], 96)
    caliper = block("caliper", [178, -5, -50], [198, 5, -25])
    rotor = RotorDimensions(350.0, 222.0, 34.0, 38.0, 8.0, 176.0, 6.0, 6.0, 64.0, 112.0, 5, 15.0)
    bridge = PairSpec("rotor", "caliper", "caliper bridge–ring", "turning", 2.0)
    found = judge_pairs(
        [caliper, barrel(), ring], [BARREL, bridge], settings(CureLimits(), rotor=rotor)
    )
    (smaller,) = [cure for cure in found[0].would_clear if cure.change == "smaller rotor"]
    # 198.06 + 3 − 200: a little over 1.06 on the radius, 2.13 on the diameter: Ø 347.87; sold: 345.
    assert smaller.amount_mm == pytest.approx(2.13, abs=0.03)
    assert smaller.offered_mm == 5.0
    assert any("Ø 345 mm is the largest ring on sale" in text for text in smaller.side_effects)


# --- what else would fit ---------------------------------------------------------------------

ROTOR = RotorDimensions(350.0, 222.0, 34.0, 38.0, 8.0, 176.0, 6.0, 6.0, 64.0, 112.0, 5, 15.0)
CAL = CaliperDimensions(112.0, 190.0, 179.0, 68.0, 58.0, 27.0, 10.0, 90.0)
# One block over the ring (middle at z −38): radius 179 … 190, outboard face at −38 + 58 = 20.
BLOCK = block("caliper", [179, -5, -60], [190, 5, 20])
RING_350 = turned("rotor", "rotor", [(111, -55), (175, -55), (175, -21), (111, -21)], 360)
BRIDGE = PairSpec("rotor", "caliper", "caliper bridge–ring", "turning", 3.0)


def limits(parts: list[PlacedPart], pairs: list[PairSpec], cures: CureLimits | None = None):
    chosen = settings(cures or CureLimits(), rotor=ROTOR, caliper=CAL)
    _, found = judge_corner(parts, pairs, chosen)
    return {one.what: one for one in found}


def test_largest_ring_on_sale_takes_the_caliper_along_until_the_barrel_stops_it() -> None:
    # The caliper goes out by half: √((190 + d/2)² + 25) + 3 ≤ 200 (less the facets' 0.002 mm):
    # d/2 ≤ 6.93, d ≤ 13.86: Ø 363.8; sold: 350 … 362, 365.
    found = limits([BLOCK, barrel(), RING_350], [BARREL, BRIDGE])["largest ring"]
    assert found.size_mm == 362.0
    assert found.change_mm == 12.0
    assert found.stopped_by == "caliper and barrel"


def test_highest_caliper_in_half_millimetres() -> None:
    # Only the outside grows: √((190 + h)² + 25) … the block's corner moves along its own radius:
    # (1 + h/ρ): ρ + h + 3 ≤ 200, ρ = 190.066: h ≤ 6.93.
    found = limits([BLOCK, barrel(), RING_350], [BARREL, BRIDGE])["highest caliper"]
    assert found.change_mm == 6.5
    assert found.size_mm == 196.5
    assert found.stopped_by == "caliper and barrel"


def test_widest_caliper_stops_at_the_spokes() -> None:
    # Face at z 20, spokes at 27: 7 − 4 = 3 mm to spare.
    found = limits([BLOCK, disc(27.1), barrel()], [SPOKES, BARREL])["widest caliper"]
    assert found.change_mm == 3.0
    assert found.stopped_by == "caliper and spokes"


def test_smallest_rim_in_whole_sizes() -> None:
    # Radius 230: one size less 217.3, two 204.6, three 191.9; corner 190.07 + 3 = 193.07.
    found = limits([BLOCK, barrel(230.0)], [BARREL])["smallest rim"]
    assert found.change_mm == pytest.approx(-50.8)
    assert found.stopped_by == "caliper and barrel"
    tight = limits([BLOCK, barrel(200.0)], [BARREL])["smallest rim"]
    assert tight.change_mm == 0.0


def test_pairs_that_fail_now_are_told_and_do_not_stop_the_others() -> None:
    found = limits([BLOCK, disc(21.0), barrel()], [SPOKES, BARREL])["highest caliper"]
    assert found.change_mm == 6.5
    assert "caliper and spokes do not clear as they are" in found.told


def test_nothing_is_grown_without_dimensions() -> None:
    _, found = judge_corner([BLOCK, barrel()], [BARREL], settings(CureLimits()))
    assert [one.what for one in found] == ["smallest rim"]
