"""Write demo.clearturn.json: the demo corner as an engineer would have entered it.

    python make_job.py

Dimensions of rotor, caliper, wheel seat and studs, and the points an engineer would touch, are
those of true.json; its true gaps are not looked at.  Everything is invented.
"""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
JOB = HERE / "demo.clearturn.json"
HOUSING = "bearing housing"
PRACTICE = "common practice, no source"

WEIGHT_FREE_TO_MM = 30.0  # wheel frame
REQUIREMENTS = {
    "caliper_barrel_mm": 3.0,
    "caliper_spokes_mm": 4.0,
    "rotor_knuckle_mm": 5.0,
    "rotor_shield_mm": 5.0,
    "caliper_ring_ceramic_mm": 2.0,
    "caliper_ring_iron_mm": 3.0,
    "fixed_fixed_mm": 2.0,
    "turning_fixed_mm": 5.0,
    "turning_posed_mm": 5.0,
    "rubber_boot_mm": 15.0,
    "housing_in_hat_per_side_mm": 0.8,
    "flange_in_hat_per_side_mm": 0.8,
}  # common practice, no source

Data = dict[str, Any]


def read_truth() -> Data:
    """What true.json says of dimensions, seeds and bands; never its gaps."""
    truth: Data = json.loads((HERE / "true.json").read_text(encoding="utf-8"))
    del truth["gaps"]
    return truth


def sha256(name: str) -> str:
    """Hash of a scan file."""
    return hashlib.sha256((HERE / name).read_bytes()).hexdigest()


def hand_sizes(truth: Data) -> dict[str, list[Data]]:
    """What a hand with a caliper would have read on each part: the true sizes, a little off."""
    hub, wheel = truth["hub"], truth["wheel"]
    read = [
        ("knuckle", "flange across", "hub flange rim", hub["hub_flange_diameter_mm"] + 0.02, 0.04),
        ("knuckle", "housing across", HOUSING, hub["housing_diameter_mm"] - 0.01, 0.04),
        ("wheel", "bore across", "wheel bore", wheel["centre_bore_diameter_mm"] - 0.01, 0.03),
    ]
    sizes: dict[str, list[Data]] = {"knuckle": [], "wheel": []}
    for scan, name, datum, value, uncertainty in read:
        sizes[scan].append({
            "name": name, "kind": "diameter", "datums": [datum], "value_mm": round(value, 2),
            "uncertainty_mm": uncertainty, "instrument": "caliper 0–200 mm",
        })  # fmt: skip
    return sizes


def scans(truth: Data) -> list[Data]:
    """The two scan files with their cleaning and the sizes measured by hand."""
    sizes = hand_sizes(truth)
    return [
        {
            "name": name,
            "path": truth["scans"][name]["file"],
            "sha256": sha256(truth["scans"][name]["file"]),
            "unit": "mm",
            "scanner_error_mm": 0.03,
            "cleaning": [{"step": "drop small pieces", "below_triangles": 300}],
            "size_check": sizes[name],
        }
        for name in ("knuckle", "wheel")
    ]


def datums(truth: Data) -> list[Data]:
    """The features an engineer touches."""
    touched = [
        ("hub face", "knuckle", "plane", "hub face"),
        ("register", "knuckle", "cylinder", "spigot"),
        ("upper lug bore", "knuckle", "cylinder", "upper lug bore"),
        (HOUSING, "knuckle", "cylinder", "housing"),
        ("hub flange rim", "knuckle", "cylinder", "hub flange rim"),
        ("wheel pad", "wheel", "plane", "wheel pad"),
        ("wheel bore", "wheel", "cylinder", "wheel bore"),
    ]
    return [
        {
            "name": name,
            "scan": scan,
            "feature": feature,
            "seeds_mm": [rounded(truth["seeds"][scan][seed])],
            "robust": True,
        }
        for name, scan, feature, seed in touched
    ]


def rounded(point: list[float]) -> list[float]:
    """A touched point, to the hundredth of a millimetre nobody touches better than."""
    return [round(x, 2) for x in point]


def outboard(pose: list[list[float]]) -> list[float]:
    """The frame's Z in the scan's coordinates, as roughly as a user would give it."""
    return [round(x, 1) for x in pose[2][:3]]


def parts(truth: Data) -> list[Data]:
    """Scan faces by motion, and the parts from dimensions."""
    seeds, bands = truth["seeds"], truth["bands"]

    def band(scan: str, name: str, margin: float = 0.0) -> Data:
        limits = bands[scan][name]
        return {
            "by": "band",
            "band": {
                "r_to_mm": float(limits["r_mm"][1]),
                "z_from_mm": float(limits["z_mm"][0]) - margin,
                "z_to_mm": float(limits["z_mm"][1]),
            },
        }

    def piece(scan: str, seed: str) -> Data:
        return {"by": "piece", "seed_mm": rounded(seeds[scan][seed])}

    def scanned(name: str, kind: str, motion: str, scan: str, take: Data) -> Data:
        faces = {"scan": scan, "take": [take]}
        return {"name": name, "kind": kind, "motion": motion, "scan": faces}

    return [
        scanned("tie rod", "tie rod", "posed", "knuckle", piece("knuckle", "tie rod")),
        scanned("hub", "hub", "turns", "knuckle", band("knuckle", "hub")),
        scanned(HOUSING, HOUSING, "fixed", "knuckle", band("knuckle", "housing")),
        scanned("knuckle", "knuckle", "fixed", "knuckle", piece("knuckle", "upper lug face")),
        {"name": "rotor", "kind": "rotor", "motion": "turns", "dimensions": "rotor",
         "tolerance_mm": 0.1},
        {"name": "caliper", "kind": "caliper", "motion": "fixed", "dimensions": "caliper",
         "tolerance_mm": 0.2},
        scanned("spokes", "spokes", "turns", "wheel", band("wheel", "spokes", 5.0)),
        scanned("barrel", "barrel", "turns", "wheel", piece("wheel", "barrel")),
    ]  # fmt: skip


def allowances() -> list[Data]:
    """What the gaps must be able to lose."""
    rows = [
        ("wheel run-out, radial", 0.3, "radial", "always costs", "wheel"),
        ("wheel run-out, axial", 0.3, "axial", "always costs", "wheel"),
        ("rotor run-out, axial", 0.05, "axial", "always costs", "rotor"),
        ("bearing play", 0.05, "axial", "random", "wheel"),
        ("caliper placed by its bracket", 0.15, "gap", "random", "caliper"),
    ]
    return [
        {"name": name, "value_mm": value, "direction": direction, "kind": kind,
         "source": PRACTICE, "part": part}
        for name, value, direction, kind, part in rows
    ]  # fmt: skip


def hub_checks() -> Data:
    """The four hub diameters."""

    def scan(datum: str) -> Data:
        return {"source": "scan", "datum": datum, "bias_limit_mm": 0.05}

    return {
        "rotor_register": {
            "shaft": scan("register"),
            "hole": {"source": "dimensions", "uncertainty_mm": 0.02, "note": "as supplied"},
            "fit": "H7/g6",
            "also_centres": "wheel",
        },
        "wheel_register": {
            "shaft": scan("register"),
            "hole": scan("wheel bore"),
            "clearance_from_mm": 0.0,
            "clearance_to_mm": 0.3,
        },
        "flange_in_hat": {
            "shaft": scan("hub flange rim"),
            "hole": {"source": "dimensions", "uncertainty_mm": 0.1},
        },
        "housing_in_hat": {
            "shaft": scan(HOUSING),
            "hole": {"source": "dimensions", "uncertainty_mm": 0.1},
            "wall_mm": 9.0,
            "least_wall_mm": 6.0,
        },
    }


def corner(truth: Data) -> Data:
    """The front left corner."""
    rotor = dict(truth["rotor"])
    rotor["material"] = rotor.pop("ring_material")
    band = truth["wheel"]["weight_band"]
    hub = truth["hub"]
    pad_z = rotor["flange_thickness_mm"]
    return {
        "side": truth["corner"]["side"],
        "scans": scans(truth),
        "datums": datums(truth),
        "hub_frame": {
            "plane": "hub face",
            "axis": "register",
            "clocking": "upper lug bore",
            "clock_deg": truth["clocking"]["clock_deg"],
            "outboard": outboard(truth["poses"]["knuckle"]["hub_from_scan"]),
            "up": [round(x, 1) for x in truth["poses"]["knuckle"]["hub_from_scan"][1][:3]],
        },
        "wheel_frame": {
            "pad": "wheel pad",
            "bore": "wheel bore",
            "outboard": outboard(truth["poses"]["wheel"]["wheel_from_scan"]),
        },
        "seat_stack": {"old_flange_mm": 6.5, "new_flange_mm": pad_z, "spacer_mm": 0.0},
        "stud": {
            "length_mm": hub["stud_length_mm"],
            "thread": hub["stud_thread"].replace("x", "×"),
            "wheel_seat_mm": 14.0,
            "needed_engagement_mm": 14.0,
            "register_length_mm": hub["spigot_length_mm"],
            "needed_register_mm": 5.0,
        },
        "rotor": rotor,
        "caliper": truth["caliper"],
        "weights": {
            "where": "not in band",
            # declared for all of the barrel over the caliper, on to the spokes
            "z_from_mm": band["z_from_mm"],
            "z_to_mm": max(band["z_to_mm"], WEIGHT_FREE_TO_MM),
            "thickness_mm": band["thickness_mm"],
        },
        "parts": parts(truth),
        "seats": [
            {
                "name": "wheel pad on hat",
                "part": "spokes",
                "on": "rotor",
                "band": {
                    "r_to_mm": truth["wheel"]["pad_diameter_mm"] / 2 + 0.5,
                    "z_from_mm": pad_z - 0.5,
                    "z_to_mm": pad_z + 0.5,
                },
            }
        ],
        "pairs": [
            {
                "first": "rotor",
                "second": "spokes",
                "required_mm": 1.0,
                "reason": "clamped together; beside the pad they only must not touch",
            }
        ],
        "requirements": REQUIREMENTS,
        "allowances": allowances(),
        "coverage_factor": 2.0,
        "hub_checks": hub_checks(),
        "access": access(),
        "not_checked": ["brake hose and wheel-speed cable, which were not scanned"],
    }


def access() -> list[Data]:
    """Bolts, pads, nipples and the wheel on their ways; tools are common ones of a workshop."""
    off = ["spokes", "barrel"]
    lug_back_z, nipple_clock = -134.5, math.radians(270.0 + 38.2)
    radial = (math.sin(nipple_clock), math.cos(nipple_clock), 0.0)
    tangent = (math.cos(nipple_clock), -math.sin(nipple_clock), 0.0)
    bolts: list[Data] = [
        {
            "what": "bolt out",
            "name": f"{name} bracket bolt",
            "own": "knuckle",
            "at_mm": [-107.35, y, lug_back_z],
            "direction": [0.0, 0.0, -1.0],
            "bolt_length_mm": 60.0,
            "socket_diameter_mm": 27.0,
            "socket_length_mm": 60.0,
            "removed": off,
        }
        for name, y in (("upper", 69.71), ("lower", -69.71))
    ]
    pads: list[Data] = [
        {
            "what": "pad out",
            "name": f"{name} pad",
            "own": "caliper",
            "clock_deg": 270.0,
            "r_from_mm": 112.0,
            "r_to_mm": 178.0,
            "z_from_mm": low,
            "z_to_mm": low + 9.5,
            "width_mm": 130.0,
            "direction": "outward",
            "way_mm": 80.0,
            "touches": ["rotor"],
            "removed": off,
        }
        for name, low in (("outboard", -20.8), ("inboard", -64.7))
    ]
    nipples: list[Data] = [
        {
            "what": "spanner on",
            "name": f"{name} bleed nipple",
            "own": "caliper",
            "at_mm": [round(155 * radial[i] + 3 * tangent[i] + z * (i == 2), 2) for i in range(3)],
            "direction": [round(x, 6) for x in tangent],
            "ring_diameter_mm": 20.0,
            "handle_direction": [round(x, 6) for x in radial],
            "handle_length_mm": 130.0,
            "handle_width_mm": 12.0,
            "removed": off,
        }
        for name, z in (("inboard", -95.0), ("outboard", 7.0))
    ]
    wheel: Data = {"what": "wheel on", "name": "wheel over caliper and studs", "stud_hole_mm": 15.0}
    return [*bolts, *pads, *nipples, wheel]


def sums() -> Data:
    """The trade sums, as an engineer would have typed them in: invented, plausible numbers."""
    entered: Data = json.loads((HERE / "demo_sums.json").read_text(encoding="utf-8"))
    return entered


def job() -> Data:
    """The whole demo job."""
    truth = read_truth()
    return {
        "format": "clearturn job",
        "version": 1,
        "name": "Demo: Aurel 4, front left, kit K350-six",
        "axles": [{"name": "front", "corner": corner(truth)}],
        "vehicle": "Aurel 4, an invented car",
        "kit": "K350-six, an invented kit",
        "invented": True,
        "author": "demo",
        "notes": "Vehicle, wheel and kit are invented. Three faults are planted.",
        "sums": sums(),
    }


if __name__ == "__main__":
    JOB.write_text(json.dumps(job(), indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
