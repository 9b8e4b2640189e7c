"""What the report says, as plain data: the verdict sentence, the job's facts, the sections."""

from __future__ import annotations

from collections.abc import Sequence

from clearturn.gap.model import State
from clearturn.report import figures
from clearturn.report.blocks import Context, Report, Section, SectionMaker
from clearturn.report.jobcard import NOTES_LETTERS, JobCard, job_card
from clearturn.report.lettering import foreign
from clearturn.report.names import (
    SENTENCE_NAME,
    full_stop,
    machining,
    pair_name,
    shown_pairs,
)
from clearturn.report.sections import SECTIONS
from clearturn.report.sections.declared import declared
from clearturn.report.sections.pairs import cure_text, joint_text
from clearturn.result import AccessResult, CheckResult, HubResult, PairResult, Verdict

TITLE = "Clearance report"
_MOST_NAMED = 2
_MOST_TO_DO = 6


def verdict_head(result: CheckResult) -> str:
    """Return the verdict in the fewest words: "fails in 2 places"."""
    failing = _verdicts(result).count(Verdict.FAILS)
    if result.verdict is Verdict.FAILS and failing:
        return "fails in " + figures.words(failing, "place")
    return str(result.verdict)


def _verdicts(result: CheckResult) -> list[Verdict]:
    judged = [pair.verdict for pair in result.pairs] + [hub.verdict for hub in result.hub]
    return judged + [access.verdict for access in result.access]


def _tally(result: CheckResult) -> tuple[tuple[Verdict, int], ...]:
    """Return how many gaps and hub diameters got each verdict."""
    verdicts = _verdicts(result)
    order = (Verdict.FAILS, Verdict.NOT_PROVEN, Verdict.CLEARS)
    return tuple((verdict, verdicts.count(verdict)) for verdict in order) if verdicts else ()


def verdict_sentence(result: CheckResult) -> str:
    """Return the verdict in one sentence a customer understands."""
    pairs, hub = result.pairs, result.hub
    if result.verdict is Verdict.CLEARS:
        judged = [figures.words(len(pairs), "gap")]
        if hub:
            judged.append(figures.words(len(hub), "hub diameter"))
        if result.access:
            judged.append(figures.words(len(result.access), "way of access", "ways of access"))
        return (
            f"{figures.listed(judged).capitalize()} {_keep(len(_verdicts(result)))} what is asked, "
            "with allowances taken off and uncertainty counted against them."
        )
    if not pairs and result.verdict is Verdict.NOT_PROVEN:
        return "Nothing is proven: the job holds no pair of parts to judge."
    bad = [k for k in shown_pairs(result) if pairs[k].verdict is result.verdict]
    bad_hub = [h for h in hub if h.verdict is result.verdict]
    ways = [_way(a) for a in result.access if a.verdict is result.verdict]
    if result.verdict is Verdict.FAILS:
        said = [_failing_pair(k, pairs[k]) for k in bad] + [_failing_hub(h) for h in bad_hub]
        said += ways
        return "Do not machine to this set-up: " + full_stop(_some(said, ", "))
    said = [_doubtful_pair(k, pairs[k]) for k in bad] + [_doubtful_hub(h) for h in bad_hub]
    said += ways
    said += [f"the {axle} axle: it has no pair of parts to judge" for axle in _empty_axles(result)]
    said += [
        f"the size of the scan {foreign(scan)}: hand measurements differ" for scan in _off(result)
    ]
    return "Nothing fails, but not all is proven; to settle " + full_stop(_some(said, "; "))


def _empty_axles(result: CheckResult) -> list[str]:
    names = [axle.name for axle in result.job.axles]
    if len(names) < 2:
        return []
    return [name for name in names if not any(p.first.startswith(name + " ") for p in result.pairs)]


def _off(result: CheckResult) -> list[str]:
    return [check.scan for check in result.size_checks if check.state == "off"]


def _keep(count: int) -> str:
    return "keeps" if count == 1 else "keep"


def _some(said: list[str], comma: str) -> str:
    if not said:
        return "see the lists below"
    if len(said) <= _MOST_NAMED + 1:
        return comma.join(said[:-1]) + (" and " if len(said) > 1 else "") + said[-1]
    return comma.join(said[:_MOST_NAMED]) + f"{comma}and {len(said) - _MOST_NAMED} more"


def _gap(index: int, pair: PairResult) -> str:
    return f"gap {index + 1} ({pair_name(pair, SENTENCE_NAME)})"


def _failing_pair(index: int, pair: PairResult) -> str:
    name = _gap(index, pair)
    if pair.gap.state is State.INTERFERING:
        return f"{name} is negative, the parts run into each other"
    net = f"{figures.mm(pair.net_gap_mm.lower)} {figures.plus_minus(pair.expanded_uncertainty_mm)}"
    asked = figures.mm(pair.required_mm)
    return f"{name} keeps {_unbroken(f'{net} mm')} where {_unbroken(f'{asked} mm')} is asked"


def _unbroken(text: str) -> str:
    return text.replace(" ", figures.NO_BREAK)


def _way(access: AccessResult) -> str:
    at = f" past {foreign(access.against)}" if access.against else ""
    return f"access ({foreign(access.name)}{at})"


def _failing_hub(hub: HubResult) -> str:
    sizes = f"{figures.diameter(hub.shaft_mm)} in {figures.diameter(hub.hole_mm)}"
    return f"the {hub.name} ({sizes}) does not go together"


def _doubtful_pair(index: int, pair: PairResult) -> str:
    name = _gap(index, pair)
    return f"{name}: {foreign(pair.settle_by)}" if pair.settle_by else name


def _doubtful_hub(hub: HubResult) -> str:
    name = f"the {hub.name}"
    return f"{name}: {foreign(hub.gauge_first)}" if hub.gauge_first else name


def to_do(result: CheckResult) -> tuple[tuple[str, str], ...]:
    """Return what to do next, shortest way first: machining, cures, measurements."""
    text = "It is of the wrong size by hand measurements: scan it anew, or set its unit."
    items = [(f"Mend the scan {foreign(scan)}.", text) for scan in _off(result)]
    for hub in result.hub:
        if hub.machine is not None:
            first = f" First: {full_stop(foreign(hub.gauge_first))}" if hub.gauge_first else ""
            items.append((f"{machining(hub)}.", f"For the {hub.name}.{first}"))
        elif hub.gauge_first and hub.verdict is not Verdict.CLEARS:
            items.append((f"Gauge the {hub.name}.", full_stop(foreign(hub.gauge_first))))
    for index in shown_pairs(result):
        pair = result.pairs[index]
        if pair.verdict is Verdict.CLEARS:
            continue
        if pair.settle_by:
            items.append((f"Settle gap {index + 1}.", full_stop(foreign(pair.settle_by))))
        cure = _best_cure(pair)
        if cure is not None:
            items.append((f"{cure[0]}.", f"For gap {index + 1}: {cure[1]}"))
        elif not pair.settle_by:
            if pair.would_clear_together:
                head, text = joint_text(pair.would_clear_together[0])
                items.append((f"{head}.", f"For gap {index + 1}: {text}"))
                continue
            text = "No change within the job’s limits clears it."
            items.append((f"Rework gap {index + 1}.", text))
    items += [
        ("Make room.", f"For {foreign(access.name)}, past {foreign(access.against)}.")
        for access in result.access
        if access.verdict is not Verdict.CLEARS and access.against
    ]
    left_out = len(items) - _MOST_TO_DO
    if left_out > 0:
        items = items[: _MOST_TO_DO - 1]
        items.append(("And more.", f"{left_out + 1} further points stand in the sections below."))
    return tuple(items)


def _best_cure(pair: PairResult) -> tuple[str, str] | None:
    cures = sorted(pair.would_clear, key=lambda cure: not cure.clears_all)
    return cure_text(cures[0]) if cures else None


def _card(card: JobCard) -> tuple[tuple[str, str], ...]:
    rows = [
        ("Vehicle", foreign(card.vehicle, 90) if card.vehicle else "not stated"),
        ("Kit", foreign(card.kit, 90) if card.kit else "not stated"),
        ("Corner", "; ".join(card.corners) or "none"),
        ("Prepared by", foreign(card.author, 60) if card.author else "not stated"),
    ]
    if card.notes:
        rows.append(("Notes", foreign(card.notes, NOTES_LETTERS)))
    return tuple(rows)


def build_report(context: Context, more_sections: Sequence[SectionMaker] = ()) -> Report:
    """Return the whole report as plain data.

    Parameters
    ----------
    context : Context
    more_sections : sequence of SectionMaker
        Further sections, set before what the job declares.
    """
    result = context.result
    card = job_card(result.job)
    makers = [*SECTIONS]
    at = makers.index(declared)
    makers[at:at] = more_sections
    made = [maker(context) for maker in makers]
    sections: tuple[Section, ...] = tuple(section for section in made if section is not None)
    corner = figures.words(len(card.corners), "corner") if card.corners else ""
    if len(card.corners) == 1:
        corner = card.corners[0].split(", mirrored")[0]
    return Report(
        title=TITLE,
        job=foreign(card.name, 90),
        job_line=foreign(card.name, 42) + (f"\n{corner}" if corner else ""),
        job_sha256=result.job_sha256,
        verdict=result.verdict,
        verdict_head=verdict_head(result),
        sentence=verdict_sentence(result),
        tally=_tally(result),
        invented=card.invented,
        card=_card(card),
        to_do=to_do(result),
        sections=sections,
    )
