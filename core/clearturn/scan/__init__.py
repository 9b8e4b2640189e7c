"""From files to meshes one can trust: reading, taking stock, cleaning."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clearturn.lazily import lazily

if TYPE_CHECKING:
    from clearturn.scan.cleaning import CleanResult, StepResult, clean
    from clearturn.scan.inventory import Pieces, Survey, piece_labels, survey
    from clearturn.scan.model import Scan
    from clearturn.scan.read import read_scan
    from clearturn.scan.steps import (
        STANDARD_STEPS,
        ChangeUnit,
        DropBadTriangles,
        DropBand,
        DropBeyondPlane,
        DropBox,
        DropPiece,
        DropSmallPieces,
        FillHoles,
        KeepBox,
        Step,
        TurnFlippedPieces,
    )

__all__ = [
    "STANDARD_STEPS",
    "ChangeUnit",
    "CleanResult",
    "DropBadTriangles",
    "DropBand",
    "DropBeyondPlane",
    "DropBox",
    "DropPiece",
    "DropSmallPieces",
    "FillHoles",
    "KeepBox",
    "Pieces",
    "Scan",
    "Step",
    "StepResult",
    "Survey",
    "TurnFlippedPieces",
    "clean",
    "piece_labels",
    "read_scan",
    "survey",
]

__getattr__ = lazily(
    __name__,
    {
        "cleaning": (
            "CleanResult",
            "StepResult",
            "clean",
        ),
        "inventory": (
            "Pieces",
            "Survey",
            "piece_labels",
            "survey",
        ),
        "model": ("Scan",),
        "read": ("read_scan",),
        "steps": (
            "STANDARD_STEPS",
            "ChangeUnit",
            "DropBadTriangles",
            "DropBand",
            "DropBeyondPlane",
            "DropBox",
            "DropPiece",
            "DropSmallPieces",
            "FillHoles",
            "KeepBox",
            "Step",
            "TurnFlippedPieces",
        ),
    },
)
