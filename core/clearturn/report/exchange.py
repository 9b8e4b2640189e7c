"""The result as other programs read it: JSON and CSV (docs: the contract of the command line).

NaN and infinity never appear: an unknown is null, and a finding says so.
"""

from __future__ import annotations

import csv
import io
import json
import math
from typing import Any

from clearturn.findings import Finding
from clearturn.result import (
    AccessResult,
    CheckResult,
    Cure,
    FitLimit,
    HubResult,
    JointCure,
    PairResult,
    SizeCheck,
)

CSV_COLUMNS = (
    "item",
    "first",
    "second",
    "kind",
    "motion",
    "gap_lower_mm",
    "gap_upper_mm",
    "noise_bias_mm",
    "estimate_mm",
    "allowances_mm",
    "net_gap_mm",
    "expanded_uncertainty_mm",
    "required_mm",
    "margin_mm",
    "verdict",
    "clock_deg",
    "r_mm",
    "z_mm",
)


def finite(value: float | None) -> float | None:
    """Return `value` as a plain float, or None if it is no finite number."""
    if value is None or not math.isfinite(value):
        return None
    return float(value) + 0.0  # no negative zero


def _vector(values: Any) -> list[float | None]:
    return [finite(float(v)) for v in values]


def _cure_json(cure: Cure) -> dict[str, Any]:
    return {
        "change": cure.change,
        "amount_mm": finite(cure.amount_mm),
        "offered_mm": finite(cure.offered_mm),
        "side_effects": list(cure.side_effects),
    }


def _joint_json(cure: JointCure) -> dict[str, Any]:
    return {
        "changes": [
            {"change": change, "amount_mm": finite(amount)} for change, amount in cure.changes
        ],
        "side_effects": list(cure.side_effects),
        "clears_all": cure.clears_all,
    }


def limit_json(limit: FitLimit) -> dict[str, Any]:
    """Return the largest or smallest of something that still clears."""
    return {
        "what": limit.what,
        "change_mm": finite(limit.change_mm),
        "size_mm": finite(limit.size_mm),
        "stopped_by": limit.stopped_by or None,
        "told": list(limit.told),
    }


def pair_json(pair: PairResult) -> dict[str, Any]:
    """Return one pair; its estimate and net gap are the lower ends, on which the margin rests."""
    return {
        "first": pair.first,
        "second": pair.second,
        "motion": pair.motion,
        "gap_mm": {
            "lower": finite(pair.gap.gap_mm.lower),
            "upper": finite(pair.gap.gap_mm.upper),
        },
        "noise_bias_mm": finite(pair.noise_bias_mm),
        "estimate_mm": finite(pair.least_mm),
        "allowances_mm": finite(pair.allowances_mm),
        "net_gap_mm": finite(pair.net_gap_mm.lower),
        "expanded_uncertainty_mm": finite(pair.expanded_uncertainty_mm),
        "required_mm": finite(pair.required_mm),
        "margin_mm": finite(pair.margin_mm),
        "verdict": str(pair.verdict),
        "clock_deg": finite(pair.clock_deg),
        "r_mm": finite(pair.r_mm),
        "z_mm": finite(pair.z_mm),
        "first_point_mm": _vector(pair.gap.first_point_mm),
        "second_point_mm": _vector(pair.gap.second_point_mm),
        "would_clear": [_cure_json(cure) for cure in pair.would_clear],
        "would_clear_together": [_joint_json(cure) for cure in pair.would_clear_together],
    }


def hub_json(hub: HubResult) -> dict[str, Any]:
    """Return one hub diameter."""
    machine = hub.machine
    return ({"axle": hub.axle} if hub.axle else {}) | {
        "check": hub.check,
        "shaft_mm": finite(hub.shaft_mm),
        "hole_mm": finite(hub.hole_mm),
        "needed": hub.needed,
        "machine": None
        if machine is None
        else {
            "part": machine.part,
            "to_diameter_mm": finite(machine.to_diameter_mm),
            "per_side_mm": finite(machine.per_side_mm),
            "tolerance": machine.tolerance,
        },
        "verdict": str(hub.verdict),
    }


def access_json(access: AccessResult) -> dict[str, Any]:
    """Return one access item."""
    return {
        "name": access.name,
        "what": access.what,
        "against": access.against or None,
        "gap_mm": None
        if access.gap_mm is None
        else {"lower": finite(access.gap_mm.lower), "upper": finite(access.gap_mm.upper)},
        "expanded_uncertainty_mm": finite(access.expanded_uncertainty_mm),
        "required_mm": finite(access.required_mm),
        "margin_mm": finite(access.margin_mm),
        "verdict": str(access.verdict),
        "clock_deg": finite(access.clock_deg),
        "r_mm": finite(access.r_mm),
        "z_mm": finite(access.z_mm),
        "told": list(access.told),
    }


def size_check_json(check: SizeCheck) -> dict[str, Any]:
    """Return a scan against the sizes measured by hand."""
    return {
        "scan": check.scan,
        "state": check.state,
        "factor": finite(check.factor),
        "expanded_uncertainty": finite(check.expanded_uncertainty),
        "radius_mm": finite(check.radius_mm),
        "off_mm": finite(check.off_mm),
        "sizes": [
            {
                "name": size.name,
                "kind": size.kind,
                "datums": list(size.datums),
                "instrument": size.instrument,
                "hand_mm": finite(size.hand_mm),
                "hand_uncertainty_mm": finite(size.hand_uncertainty_mm),
                "scan_mm": finite(size.scan_mm),
                "scan_uncertainty_mm": finite(size.scan_uncertainty_mm),
                "difference_mm": finite(size.difference_mm),
                "residual_mm": finite(size.residual_mm),
            }
            for size in check.sizes
        ],
    }


def _unknowns(value: Any, place: str = "") -> list[str]:
    if value is None:
        return [place]
    if isinstance(value, dict):
        return [
            at
            for key, item in value.items()
            if item is not None or key not in ("machine", "offered_mm")
            for at in _unknowns(item, f"{place}.{key}" if place else key)
        ]
    if isinstance(value, list):
        return [at for k, item in enumerate(value) for at in _unknowns(item, f"{place}[{k}]")]
    return []


def all_findings(result: CheckResult) -> tuple[Finding, ...]:
    """Return the findings of the result, its datums, pairs and gaps, each once, in that order."""
    found = [*result.findings]
    for datum in result.datums:
        found += datum.findings
    for pair in result.pairs:
        found += pair.findings
        found += pair.gap.findings
    for access in result.access:
        found += access.findings
    return tuple(dict.fromkeys(found))


def result_json(result: CheckResult) -> dict[str, Any]:
    """Return the result as the JSON object ``clearturn check --json`` prints."""
    body: dict[str, Any] = {
        "job": result.job.name,
        "job_sha256": result.job_sha256,
        "verdict": str(result.verdict),
        "pairs": [pair_json(pair) for pair in result.pairs],
        "hub": [hub_json(hub) for hub in result.hub],
        "limits": [limit_json(limit) for limit in result.limits],
        "access": [access_json(access) for access in result.access],
        "size_checks": [size_check_json(check) for check in result.size_checks],
        "not_checked": list(result.not_checked),
    }
    findings = [finding.as_json() for finding in all_findings(result)]
    unknown = _unknowns({"pairs": body["pairs"], "hub": body["hub"]})
    if unknown:
        text = f"no number is known for {', '.join(unknown)}: they stand as null"
        findings.append(Finding("unknown-number", "warning", text).as_json())
    body["findings"] = findings
    return body


def json_bytes(value: dict[str, Any]) -> bytes:
    """Return JSON as it is written to a file: UTF-8, indented, one line feed at the end."""
    text = json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False)
    return (text + "\n").encode("utf-8", errors="backslashreplace")


def _csv_text(text: str) -> str:
    """Keep a spreadsheet from taking a name for a formula."""
    return "'" + text if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def gaps_csv(result: CheckResult) -> bytes:
    """Return the gap list as CSV (RFC 4180, UTF-8): a header, then a row a pair, plain numbers."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    for item, pair in enumerate(result.pairs, start=1):
        row = pair_json(pair)
        row |= {
            "item": item,
            "kind": pair.kind,
            "gap_lower_mm": row["gap_mm"]["lower"],
            "gap_upper_mm": row["gap_mm"]["upper"],
        }
        writer.writerow(
            _csv_text(cell) if isinstance(cell := row[column], str) else cell
            for column in CSV_COLUMNS
        )
    return out.getvalue().encode("utf-8", errors="backslashreplace")
