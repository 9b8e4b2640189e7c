"""Cleaning as the job records it: what is kept, turned, and invented to close holes.

Counts and distances follow from the shapes, which are made here.
"""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from gap_shapes import box, sphere, together

from clearturn.corner.faces import clean
from clearturn.corner.mirror import mirrored_part
from clearturn.corner.pairs import PairSpec
from clearturn.corner.sources import cleaned_source
from clearturn.corner.touched import removed_by
from clearturn.errors import JobProblem
from clearturn.job import model
from clearturn.job.file import parse_job
from clearturn.job.judging import VerdictSettings
from clearturn.mesh import Mesh
from clearturn.result import Motion, PlacedPart, Verdict
from clearturn.verdict.judge import judge_one

FILL = model.FillHoles("fill holes", 60.0)


def plate_with_hole() -> Mesh:
    """A 100 mm plate at z 0 of 10 mm squares, closed below, the middle four squares missing."""
    ticks = np.arange(-50.0, 51.0, 10.0)
    x, y = np.meshgrid(ticks, ticks, indexing="ij")
    points = np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1)
    faces = []
    for i in range(10):
        for j in range(10):
            if i in (4, 5) and j in (4, 5):
                continue
            a, b, c, d = 11 * i + j, 11 * (i + 1) + j, 11 * (i + 1) + j + 1, 11 * i + j + 1
            faces += [[a, b, c], [a, c, d]]
    return Mesh(points, faces, "plate")


def scan(*steps: object) -> model.Scan:
    return model.Scan("plate", "plate.stl", "0" * 64, cleaning=steps)


def test_hole_is_closed_with_marked_faces_behind_those_of_the_file() -> None:
    plate = plate_with_hole()
    made = clean(plate, [FILL])
    n = len(plate.faces)
    assert (made.mesh.faces[:n] == plate.faces).all()
    assert not made.invented[:n].any()
    assert made.invented[n:].all()
    assert made.kept.all()
    corners = made.mesh.corners[n:]
    area = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    assert area.sum() == pytest.approx(20.0 * 20.0)  # four squares
    assert [f.code for f in made.findings] == ["invented-surface"]
    assert "400 mm²" in made.findings[0].text


def test_hole_larger_than_asked_stays_open() -> None:
    plate = plate_with_hole()
    made = clean(plate, [model.FillHoles("fill holes", 20.0)])
    assert made.mesh.sha256 == plate.sha256
    assert not made.invented.any()


def test_plane_takes_only_what_lies_wholly_beyond() -> None:
    both = together([box((0, 0, 0), (10, 10, 10)), box((0, 0, -30), (10, 10, -20))])
    step = model.DropBeyondPlane("drop beyond plane", (0.0, 0.0, -5.0), (0.0, 0.0, -3.0))
    made = clean(both, [step])
    assert made.mesh is both
    assert both.corners[made.kept][..., 2].min() == 0.0
    assert both.corners[~made.kept][..., 2].max() == -20.0


def test_bad_triangles_are_left_out_and_flipped_pieces_turned() -> None:
    ball = sphere((0, 0, 0), 20.0)
    faces = np.concatenate([ball.faces[:, ::-1], ball.faces[:1, ::-1], [[3, 3, 5]]])
    steps = (
        model.DropBadTriangles("drop bad triangles"),
        model.TurnFlippedPieces("turn flipped pieces"),
    )
    made = clean(Mesh(ball.vertices, faces), steps)
    assert made.kept.sum() == len(ball.faces)
    corners = made.mesh.corners[made.kept]
    volume = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6
    assert volume > 0.98 * 4 / 3 * np.pi * 20.0**3  # outside is outside again
    told = removed_by(cleaned_source(scan(*steps), Mesh(ball.vertices, faces)))
    assert "2 triangles left out" in told[0]
    assert f"{len(ball.faces):,} triangles turned" in told[1]


def test_taking_the_step_back_takes_the_invented_surface_back() -> None:
    plate = plate_with_hole()
    filled = cleaned_source(scan(FILL), plate)
    assert filled.invented is not None
    assert filled.invented.any()
    assert "invented surface" in removed_by(filled)[0]
    assert filled.cleaning[0].text.startswith("plate: ")
    assert filled.file_mesh is plate
    again = cleaned_source(scan(), filled.file_mesh)
    assert len(again.mesh.faces) == len(plate.faces)


def judged(gap_mm: float, required_mm: float, at: float = 0.0):
    """A small block over the filled hole, or `at` to its side, judged against the plate."""
    made = clean(plate_with_hole(), [FILL])
    invented = made.mesh.part(made.invented)
    plate = PlacedPart("plate", "knuckle", Motion.FIXED, made.mesh, "scan", invented=invented)
    block = box((at - 4, -4, gap_mm), (at + 4, 4, gap_mm + 10), "block")
    over = PlacedPart("block", "caliper", Motion.FIXED, block, "dimensions")
    spec = PairSpec("block", "plate", "other fixed pair", "still", required_mm)
    return judge_one(spec, {"plate": plate, "block": over}, VerdictSettings(), {}).result


def test_pair_that_fails_only_by_invented_surface_is_not_proven() -> None:
    # Over the hole the plate is 3 mm away; its measured rim is √(3² + 6²) = 6.7 mm away.
    found = judged(3.0, 4.0)
    assert found.gap.gap_mm.lower == pytest.approx(3.0, abs=2e-3)
    assert found.verdict is Verdict.NOT_PROVEN
    assert found.settle_by is not None
    assert "scan the hole" in found.settle_by
    assert "witness-invented" in {f.code for f in found.findings}


def test_pair_that_fails_by_measured_surface_too_fails() -> None:
    found = judged(3.0, 7.0)
    assert found.verdict is Verdict.FAILS
    assert "witness-invented" in {f.code for f in found.findings}


def test_pair_that_clears_the_invented_surface_clears_and_says_so() -> None:
    found = judged(3.0, 2.0)
    assert found.verdict is Verdict.CLEARS
    assert "witness-invented" in {f.code for f in found.findings}


def test_measured_surface_away_from_the_hole_is_judged_as_ever() -> None:
    found = judged(3.0, 4.0, at=30.0)
    assert found.verdict is Verdict.FAILS
    assert "witness-invented" not in {f.code for f in found.findings}


def test_invented_surface_is_mirrored_with_its_part() -> None:
    made = clean(plate_with_hole(), [FILL])
    shifted = made.mesh.part(made.invented).moved(
        np.array([[1, 0, 0, 7.0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], float)
    )
    one = PlacedPart("plate", "knuckle", Motion.FIXED, made.mesh, "scan", invented=shifted)
    other = mirrored_part(one)
    assert other.invented is not None
    assert other.invented.bounds[:, 0] == pytest.approx([-17.0, 3.0])
    assert mirrored_part(replace(one, invented=None)).invented is None


@pytest.mark.parametrize(
    ("step", "place"),
    [
        ({"step": "fill holes", "up_to_mm": 0.0}, "up_to_mm"),
        ({"step": "fill holes"}, "up_to_mm"),
        (
            {"step": "drop beyond plane", "point_mm": [0, 0, 0], "normal": [0, 0, 0]},
            "normal",
        ),
        ({"step": "fill hole", "up_to_mm": 3.0}, "step"),
    ],
)
def test_nonsense_steps_are_refused_with_their_place(step: dict[str, object], place: str) -> None:
    job = {
        "format": "clearturn job",
        "version": 1,
        "name": "x",
        "axles": [
            {
                "name": "front",
                "corner": {
                    "side": "left",
                    "scans": [
                        {"name": "s", "path": "s.stl", "sha256": "0" * 64, "cleaning": [step]}
                    ],
                },
            }
        ],
    }
    with pytest.raises(JobProblem) as caught:
        parse_job(json.dumps(job))
    assert place in str(caught.value)
