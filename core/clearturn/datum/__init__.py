"""Datums from scans: associated features with uncertainty, patches, frames."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clearturn.lazily import lazily

if TYPE_CHECKING:
    from clearturn.datum.agreement import AxisDifference, compare_axes
    from clearturn.datum.circle import fit_circle
    from clearturn.datum.cone import fit_cone
    from clearturn.datum.cylinder import fit_cylinder
    from clearturn.datum.feature import Proposal, propose_feature
    from clearturn.datum.frame import AxisFit, Frame, hub_frame, wheel_frame
    from clearturn.datum.grow import Patch, grow_patch, nearest_face
    from clearturn.datum.line import fit_line
    from clearturn.datum.model import (
        CircleFit,
        ConeFit,
        CylinderFit,
        Fit,
        LineFit,
        PlaneFit,
        SphereFit,
        StandardUncertainty,
    )
    from clearturn.datum.plane import fit_plane
    from clearturn.datum.scale import ScaleCheck, Scaled, ScaleState, SizePair, check_scale
    from clearturn.datum.sphere import fit_sphere
    from clearturn.datum.spin import SpinAxis, spin_axis
    from clearturn.datum.zone import (
        CircleZone,
        Contact,
        PlaneZone,
        contact_offset,
        minimum_zone_circle,
        minimum_zone_plane,
    )

__all__ = [
    "AxisDifference",
    "AxisFit",
    "CircleFit",
    "CircleZone",
    "ConeFit",
    "Contact",
    "CylinderFit",
    "Fit",
    "Frame",
    "LineFit",
    "Patch",
    "PlaneFit",
    "PlaneZone",
    "Proposal",
    "ScaleCheck",
    "ScaleState",
    "Scaled",
    "SizePair",
    "SphereFit",
    "SpinAxis",
    "StandardUncertainty",
    "check_scale",
    "compare_axes",
    "contact_offset",
    "fit_circle",
    "fit_cone",
    "fit_cylinder",
    "fit_line",
    "fit_plane",
    "fit_sphere",
    "grow_patch",
    "hub_frame",
    "minimum_zone_circle",
    "minimum_zone_plane",
    "nearest_face",
    "propose_feature",
    "spin_axis",
    "wheel_frame",
]

__getattr__ = lazily(
    __name__,
    {
        "agreement": (
            "AxisDifference",
            "compare_axes",
        ),
        "circle": ("fit_circle",),
        "cone": ("fit_cone",),
        "cylinder": ("fit_cylinder",),
        "feature": (
            "Proposal",
            "propose_feature",
        ),
        "frame": (
            "AxisFit",
            "Frame",
            "hub_frame",
            "wheel_frame",
        ),
        "grow": (
            "Patch",
            "grow_patch",
            "nearest_face",
        ),
        "line": ("fit_line",),
        "model": (
            "CircleFit",
            "ConeFit",
            "CylinderFit",
            "Fit",
            "LineFit",
            "PlaneFit",
            "SphereFit",
            "StandardUncertainty",
        ),
        "plane": ("fit_plane",),
        "scale": (
            "ScaleCheck",
            "Scaled",
            "ScaleState",
            "SizePair",
            "check_scale",
        ),
        "sphere": ("fit_sphere",),
        "spin": (
            "SpinAxis",
            "spin_axis",
        ),
        "zone": (
            "CircleZone",
            "Contact",
            "PlaneZone",
            "contact_offset",
            "minimum_zone_circle",
            "minimum_zone_plane",
        ),
    },
)
