"""Datums from scans: associated features with uncertainty, patches, frames."""

from clearturn.datum.circle import fit_circle
from clearturn.datum.cone import fit_cone
from clearturn.datum.cylinder import fit_cylinder
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
from clearturn.datum.sphere import fit_sphere

__all__ = [
    "AxisFit",
    "CircleFit",
    "ConeFit",
    "CylinderFit",
    "Fit",
    "Frame",
    "LineFit",
    "Patch",
    "PlaneFit",
    "SphereFit",
    "StandardUncertainty",
    "fit_circle",
    "fit_cone",
    "fit_cylinder",
    "fit_line",
    "fit_plane",
    "fit_sphere",
    "grow_patch",
    "hub_frame",
    "nearest_face",
    "wheel_frame",
]
