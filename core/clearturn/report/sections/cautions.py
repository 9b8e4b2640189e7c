"""Cautions and the lines to sign on."""

from __future__ import annotations

from clearturn.report.blocks import Context, Items, Section, Signatures, Text
from clearturn.report.jobcard import job_card
from clearturn.report.lettering import foreign
from clearturn.result import Verdict

CAUTIONS = (
    "Brakes hold lives. This report says what follows from the scans and sizes it names, and no "
    "more. It does not release parts or a vehicle.",
    "Local codes and type approval, the limits of the makers of vehicle, wheel, caliper, rotor and "
    "pads, and the judgement of licensed practice come before anything said here.",
    "A gap holds for the parts as scanned. Another casting, another wheel, a repaired or bent part "
    "is another job.",
    "Required gaps and allowances marked “common practice” have no published source. Whoever signs "
    "below has judged them fit for this vehicle.",
    "The report belongs to the job with the hash printed on every page. If the job changes, it is "
    "void.",
)


def cautions(context: Context) -> Section:
    """Return the cautions."""
    del context
    # On one page with the signatures: who signs has them before the eyes.
    return Section("Cautions", (Items(tuple(("", text) for text in CAUTIONS)),), with_next=True)


def signatures(context: Context) -> Section:
    """Return who has to sign for what, and what was signed off in the job."""
    verdict = context.result.verdict
    release = {
        Verdict.CLEARS: "Machining released",
        Verdict.FAILS: "Seen: fails; no machining before the cures",
        Verdict.NOT_PROVEN: "Seen: not proven; no machining before it is settled",
    }[verdict]
    lines = (
        ("Checked by", "scans, datums, sizes and this report"),
        (release, "for the customer or workshop"),
        ("Fitted and felt by", "all checks before driving are done"),
        ("Received by", "customer"),
    )
    card = job_card(context.result.job)
    signed = [f"{foreign(o, 40)}: {foreign(n, 40)}, {foreign(d, 20)}" for o, n, d in card.sign_offs]
    texts = (Text("Signed off in the job: " + "; ".join(signed) + "."),) if signed else ()
    return Section("Signatures", (*texts, Signatures(lines)))
