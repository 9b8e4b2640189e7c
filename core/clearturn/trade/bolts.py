"""One bolt: torque to preload, what the thread in its real material holds, and the joint hot.

Tightening torque (the form of VDI 2230), head seat's mean diameter D_Km:

    M = F (0.16 P + 0.58 d2 µG + D_Km/2 µK)

Preload at 90 % of the yield strength with the torsion of tightening:

    F = As 0.9 Rp / √(1 + 3 [1.5 (d2/d0) (P/(π d2) + 1.155 µG)]²)

Friction is never one number: least preload comes with the highest friction, the highest stress
with the lowest.  The same torque gives 1.4 times the preload at µ 0.10 than at 0.16.

References
----------
Formulas: VDI 2230, from memory; checked against 45 published pairs of force and torque.  Exact
screw torque, nut factor and load sharing: Shigley's Mechanical Engineering Design 9th ed.,
eq. 8-26, 8-27, 8-24, 8-28.  Stripping area half of π d2 Le: rule of the textbooks, from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from clearturn.trade.threads import Strength, Thread

# Nut factors K of T = K F d; Shigley table 8-15.
NUT_FACTORS: dict[str, float] = {
    "black finish": 0.30,
    "zinc-plated": 0.20,
    "lubricated": 0.18,
    "cadmium-plated": 0.16,
    "anti-seize": 0.12,
}
# Of the yield strength, that tightening may use (the usual share of VDI 2230, from memory).
MOST_OF_YIELD = 0.9
# Half of the cylinder π d2 Le carries shear.
_SHEAR_SHARE = 0.5
# Each end of a bolt stretches as if 0.4 d of its thread were free (VDI 2230, from memory).
_END_SHARE = 0.4

Side = Literal["external", "internal"]


def mean_seat_mm(
    thread: Thread, seat_mm: float | None = None, hole_mm: float | None = None
) -> float:
    """Return the mean diameter of the friction under a head."""
    outer = thread.head_seat_mm if seat_mm is None else seat_mm
    inner = thread.hole_mm if hole_mm is None else hole_mm
    return (outer + inner) / 2.0


def torque_nm(
    force_n: float, thread: Thread, mu_thread: float, mu_head: float, seat_mm: float
) -> float:
    """Return the torque that gives a preload.

    Parameters
    ----------
    seat_mm : float
        Mean diameter of the friction under the head.
    """
    return force_n * _lever_mm(thread, mu_thread, mu_head, seat_mm) / 1000.0


def preload_n(
    torque: float, thread: Thread, mu_thread: float, mu_head: float, seat_mm: float
) -> float:
    """Return the preload that a torque gives, N; the inverse of `torque_nm`."""
    return torque * 1000.0 / _lever_mm(thread, mu_thread, mu_head, seat_mm)


def _lever_mm(thread: Thread, mu_thread: float, mu_head: float, seat_mm: float) -> float:
    in_thread = 0.58 * thread.pitch_diameter_mm * mu_thread
    return 0.16 * thread.pitch_mm + in_thread + seat_mm / 2.0 * mu_head


def torsion_ratio(thread: Thread, mu_thread: float) -> float:
    """Return the torsion stress of tightening over the tension stress of the preload."""
    lead = thread.pitch_mm / (math.pi * thread.pitch_diameter_mm)
    slope = lead + 1.155 * mu_thread
    return 1.5 * thread.pitch_diameter_mm / thread.stress_diameter_mm * slope


def tightening_force_n(
    thread: Thread, yield_mpa: float, mu_thread: float, utilisation: float = MOST_OF_YIELD
) -> float:
    """Return the preload at which tightening reaches a share of the yield strength."""
    factor = math.sqrt(1.0 + 3.0 * torsion_ratio(thread, mu_thread) ** 2)
    return thread.stress_area_mm2 * utilisation * yield_mpa / factor


def tightening_stress_mpa(force_n: float, thread: Thread, mu_thread: float) -> float:
    """Return the stress of tension and torsion together (von Mises)."""
    factor = math.sqrt(1.0 + 3.0 * torsion_ratio(thread, mu_thread) ** 2)
    return force_n / thread.stress_area_mm2 * factor


def screw_torque_nm(
    force_n: float,
    mean_diameter_mm: float,
    lead_mm: float,
    mu_thread: float,
    mu_head: float,
    seat_mm: float,
    half_angle_deg: float = 30.0,
) -> float:
    """Return the torque of a screw without the long form's rounding (Shigley eq. 8-26)."""
    slope = lead_mm / (math.pi * mean_diameter_mm)
    rub = mu_thread / math.cos(math.radians(half_angle_deg))
    thread_part = mean_diameter_mm / 2.0 * (slope + rub) / (1.0 - rub * slope)
    return force_n * (thread_part + mu_head * seat_mm / 2.0) / 1000.0


def nut_factor_torque_nm(force_n: float, diameter_mm: float, nut_factor: float) -> float:
    """Return T = K F d (Shigley eq. 8-27)."""
    return nut_factor * force_n * diameter_mm / 1000.0


def joint_share(bolt_stiffness: float, member_stiffness: float) -> float:
    """Return C, the bolt's share of an outer load (Shigley eq. 8-24)."""
    return bolt_stiffness / (bolt_stiffness + member_stiffness)


@dataclass(frozen=True, slots=True)
class Sharing:
    """A preloaded bolt under an outer tension (Shigley eq. 8-24 to 8-29)."""

    bolt_n: float
    members_n: float
    proof_factor: float
    load_factor: float


def load_sharing(
    preload: float, outer_n: float, share: float, proof_mpa: float, area_mm2: float
) -> Sharing:
    """Return forces in bolt and members, and how far the proof load is.

    Parameters
    ----------
    share : float
        C of `joint_share`.
    """
    bolt = share * outer_n + preload
    load = (proof_mpa * area_mm2 - preload) / (share * outer_n) if outer_n > 0 else math.inf
    return Sharing(bolt, preload - (1.0 - share) * outer_n, proof_mpa * area_mm2 / bolt, load)


def stripping_load_n(thread: Thread, engagement_mm: float, shear_mpa: float) -> float:
    """Return the load that shears the weaker thread: π d2 Le · 0.5 · τ."""
    area = math.pi * thread.pitch_diameter_mm * engagement_mm * _SHEAR_SHARE
    return area * shear_mpa


def engagement_needed_mm(thread: Thread, ultimate_mpa: float, shear_mpa: float) -> float:
    """Return the engagement at which the bolt breaks before the thread strips."""
    per_mm = stripping_load_n(thread, 1.0, shear_mpa)
    return ultimate_mpa * thread.stress_area_mm2 / per_mm


def hot_change_n(
    thread: Thread,
    grip_mm: float,
    member_young_gpa: float,
    member_alpha_per_k: float,
    member_rise_k: float,
    bolt_young_gpa: float,
    bolt_alpha_per_k: float,
    bolt_rise_k: float,
) -> float:
    """Return how much the preload changes when bolt and members warm up, N.

    The members stand for a sleeve as wide as the head's seat plus a tenth of the grip, less the
    hole; the bolt stretches over the grip and 0.4 d at each end.  A simple model; members that
    grow more than the bolt tighten it.
    """
    stretch = grip_mm * (member_alpha_per_k * member_rise_k - bolt_alpha_per_k * bolt_rise_k)
    sleeve = math.pi / 4.0 * ((thread.head_seat_mm + grip_mm / 10.0) ** 2 - thread.hole_mm**2)
    free = grip_mm + 2.0 * _END_SHARE * thread.diameter_mm
    give = free / (bolt_young_gpa * 1000.0 * thread.stress_area_mm2)
    give += grip_mm / (member_young_gpa * 1000.0 * sleeve)
    return stretch / give


@dataclass(frozen=True, slots=True)
class Preload:
    """Preload of one torque over a range of friction, N and MPa.

    Attributes
    ----------
    least_n, greatest_n : float
        With the highest and the lowest friction, and the tool's scatter on the torque.
    stress_mpa : float
        Tension and torsion at the greatest preload.
    utilisation : float
        That stress over the yield strength.
    """

    least_n: float
    greatest_n: float
    stress_mpa: float
    utilisation: float


def preload_range(
    torque: float,
    thread: Thread,
    strong: Strength,
    *,
    mu_low: float,
    mu_high: float,
    scatter: float = 0.0,
    seat_mm: float | None = None,
    hole_mm: float | None = None,
) -> Preload:
    """Return the preload of a torque with the friction it may have.

    Parameters
    ----------
    scatter : float
        Of the torque, as a share (0.05).
    """
    seat = mean_seat_mm(thread, seat_mm, hole_mm)
    least = preload_n(torque * (1.0 - scatter), thread, mu_high, mu_high, seat)
    greatest = preload_n(torque * (1.0 + scatter), thread, mu_low, mu_low, seat)
    stress = tightening_stress_mpa(greatest, thread, mu_low)
    return Preload(least, greatest, stress, stress / strong.yield_mpa)
