"""What the corner picture's process is asked to draw, and what is written over it."""

from __future__ import annotations

from typing import Any

import numpy as np

from clearturn.drawing import Tone
from clearturn.result import Motion
from clearturn_app.views.camera import Camera
from clearturn_app.views.picture_marks import view_of_access
from clearturn_app.views.report_pictures import View, view_of
from clearturn_app.window.look import Look
from clearturn_app.window.session import Session


def chosen_view(session: Session) -> View | None:
    """Return the view on what is chosen in the gap list, if it has a place."""
    if session.chosen_access is not None:
        return view_of_access(session.chosen_access)
    return view_of(session.chosen_pair) if session.chosen_pair is not None else None


def turn_deg(session: Session) -> float:
    """Return the wheel's angle at which the corner is drawn."""
    pair = session.chosen_pair
    if session.work.source is not None or session.chosen_access is not None or pair is None:
        return 0.0
    if pair.motion != "turning" or pair.gap.turn_angle_deg is None:
        return 0.0
    if session.turning.turn_deg is not None:
        return session.turning.turn_deg
    return float(pair.gap.turn_angle_deg)


def cut_plane(session: Session, *, cut: bool) -> list[float] | None:
    """Return point and normal of the plane the corner is cut at, what lies that way is seen."""
    if not cut or session.work.source is not None:
        return None
    view = chosen_view(session)
    return None if view is None else [*view.point, *(-np.array(view.normal)).tolist()]


def asked(
    session: Session, look: Look, camera: Camera, size: tuple[int, int], ratio: float, *, cut: bool
) -> dict[str, Any]:
    """Return what to draw for a view, but for what lights up.

    Parameters
    ----------
    size : (int, int)
        Of the view; `ratio` of its pixels are one of the picture's.
    cut : bool
        Whether the corner is cut at what is chosen.
    """
    is_pair = session.work.source is None and session.chosen_access is None
    return {
        "w": max(2, round(size[0] * ratio)),
        "h": max(2, round(size[1] * ratio)),
        "centre": camera.centre.tolist(),
        "eye": camera.eye.tolist(),
        "up": camera.up.tolist(),
        "half": camera.half_mm,
        "turn": turn_deg(session),
        "cut": cut_plane(session, cut=cut),
        "below": session.chosen if is_pair else None,
        "pixel": look.px(1.0) * ratio,
        "colours": colours_of(look),
    }


def colours_of(look: Look) -> dict[str, str]:
    """Return the tones of paper, lines, parts and what lights up, by name."""
    colours = {
        "paper": look.tone(Tone.PAPER).name(),
        "ink": look.tone(Tone.INK).name(),
        "alert": look.tone(Tone.ALERT).name(),
        "lit": look.colour("chosen").name(),
    }
    for motion, tone in (
        (Motion.TURNS, Tone.TURNS), (Motion.FIXED, Tone.FIXED), (Motion.POSED, Tone.POSED),
    ):  # fmt: skip
        colour = look.tone(tone)
        colours[str(motion)] = colour.name()
        inside = colour.lighter(135) if look.dark else colour.darker(118)
        colours[f"{motion} inside"] = inside.name()
    return colours


def heading_words(session: Session, *, cut: bool, drawn: bool) -> str:
    """Return what the picture shows, in words; `drawn`: there is one."""
    shown, pair, access = session.work.source, session.chosen_pair, session.chosen_access
    if shown is not None:
        return f"{shown.scan.name} scan as it lay, {len(shown.cleaned.faces):,} triangles"
    if access is not None:
        return access.name + (", cut at its place" if cut else "")
    if not drawn or pair is None:
        return "drag to look, wheel for near and far"
    words = f"cut at {pair.first} – {pair.second}" if cut else "whole corner"
    if pair.motion == "turning":
        words += f", wheel at {turn_deg(session):.0f}°"
    return words
