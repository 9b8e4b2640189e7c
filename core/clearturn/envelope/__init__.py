"""Parts from dimensions, as closed outward meshes with a stated chord error."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clearturn.lazily import lazily

if TYPE_CHECKING:
    from clearturn.envelope.band import (
        bracket_mesh,
        inner_profile,
        rim_mesh,
        shield_mesh,
        weight_band_mesh,
    )
    from clearturn.envelope.caliper import caliper_bodies, caliper_mesh, caliper_section
    from clearturn.envelope.dimensions import (
        BoxDimensions,
        BracketDimensions,
        CaliperDimensions,
        RimDimensions,
        RimStation,
        RotorDimensions,
        ShieldDimensions,
        WeightBand,
    )
    from clearturn.envelope.rotor import rotor_mesh, rotor_profile
    from clearturn.envelope.sweep import CHORD_ERROR_MM, Envelope

__all__ = [
    "CHORD_ERROR_MM",
    "BoxDimensions",
    "BracketDimensions",
    "CaliperDimensions",
    "Envelope",
    "RimDimensions",
    "RimStation",
    "RotorDimensions",
    "ShieldDimensions",
    "WeightBand",
    "bracket_mesh",
    "caliper_bodies",
    "caliper_mesh",
    "caliper_section",
    "inner_profile",
    "rim_mesh",
    "rotor_mesh",
    "rotor_profile",
    "shield_mesh",
    "weight_band_mesh",
]

__getattr__ = lazily(
    __name__,
    {
        "band": (
            "bracket_mesh",
            "inner_profile",
            "rim_mesh",
            "shield_mesh",
            "weight_band_mesh",
        ),
        "caliper": (
            "caliper_bodies",
            "caliper_mesh",
            "caliper_section",
        ),
        "dimensions": (
            "BoxDimensions",
            "BracketDimensions",
            "CaliperDimensions",
            "RimDimensions",
            "RimStation",
            "RotorDimensions",
            "ShieldDimensions",
            "WeightBand",
        ),
        "rotor": (
            "rotor_mesh",
            "rotor_profile",
        ),
        "sweep": (
            "CHORD_ERROR_MM",
            "Envelope",
        ),
    },
)
