"""The pages: what stands on them, read back from the PDF."""

from __future__ import annotations

import importlib.util
import io
import json
import math
import re
import struct
import sys
import zlib
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any

import pypdf
import pytest

from clearturn.drawing import Drawing
from clearturn.drawing.model import Line, Text
from clearturn.errors import Cancelled, ClearturnError, InputError
from clearturn.progress import Progress
from clearturn.report import Context, Picture, Pictures, ReportFiles, Section, write_report
from clearturn.report.blocks import Text as Paragraph
from clearturn.report.lettering import BREAK
from clearturn.report.sections.section_figure import Size, scale_for
from clearturn.result import Verdict

HERE = Path(__file__).parent
WHEN = datetime(2025, 11, 24, 9, 30, tzinfo=UTC)
CASES = ("demo", "clearing", "empty", "many", "unknowns")


def _load_cases() -> ModuleType:
    if "report_cases" not in sys.modules:
        spec = importlib.util.spec_from_file_location("report_cases", HERE / "report_cases.py")
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules["report_cases"] = module
        spec.loader.exec_module(module)
    return sys.modules["report_cases"]


cases = _load_cases()


def _png(width: int, height: int) -> bytes:
    """Return a grey PNG made by hand (ISO/IEC 15948)."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    rows = (b"\x00" + b"\xb0" * width) * height
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )  # fmt: skip


class GreyPictures:
    """A picture maker that needs no renderer."""

    def __init__(self, missing: str | None = None) -> None:
        self.asked: list[int] = []
        self.missing = missing

    def __call__(self, _: Any, pairs: Any, *, size_px: tuple[int, int], **__: Any) -> Pictures:
        self.asked += list(pairs)
        made = {
            k: Picture(_png(*size_px), *size_px, first=(0.5, 0.5), second=(0.52, 0.5), view="grey.")
            for k in pairs
        }
        return Pictures({} if self.missing else made, self.missing)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, ReportFiles]:
    folder = tmp_path_factory.mktemp("reports")
    return {
        name: write_report(getattr(cases, name)(), folder / name, written_at=WHEN) for name in CASES
    }


def pages_of(files: ReportFiles) -> list[str]:
    """Return the text of every page, our own break marks taken out."""
    return list(_pages(files.pdf.read_bytes()))


@cache
def _pages(pdf: bytes) -> tuple[str, ...]:
    return tuple(_clean(page.extract_text()) for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)


def _clean(text: str) -> str:
    return re.sub(f"[{BREAK}\u2068\u2069\u00ad]", "", text).replace("\u00a0", " ")


def _flat(text: str) -> str:
    return " ".join(text.split())


def _two(value: float) -> str:
    return f"{value:.2f}".replace("-", "−")


def _signed(value: float) -> str:
    return ("+" if value >= 0 else "−") + f"{abs(value):.2f}"


@pytest.mark.parametrize("name", CASES)
def test_every_page_has_the_job_hash_and_its_number(
    written: dict[str, ReportFiles], name: str
) -> None:
    pages = pages_of(written[name])
    assert len(pages) >= 2
    for number, text in enumerate(pages, start=1):
        assert cases.SHA in text
        assert f"{number} of {len(pages)}" in _flat(text)


def test_gap_list_holds_the_numbers_of_result_json_and_no_others(
    written: dict[str, ReportFiles],
) -> None:
    text = _flat(pages_of(written["demo"])[0])
    start, end = text.index("GAPS"), text.index("mm, worst first;")
    said = re.findall(r"(?<![A-Za-z])[+−±]?\d+(?:[.:]\d+)?", text[start:end])
    expected = []
    for item, pair in enumerate(json.loads(written["demo"].json.read_text())["pairs"], start=1):
        minutes = round(pair["clock_deg"] * 2) % 720
        expected += [
            str(item),
            _two(pair["estimate_mm"]),
            _two(pair["gap_mm"]["lower"]),
            _two(pair["net_gap_mm"]),
            "±" + _two(pair["expanded_uncertainty_mm"]),
            _two(pair["required_mm"]),
            _signed(pair["margin_mm"]),
            f"{minutes // 60 or 12}:{minutes % 60:02d}",
            f"{pair['r_mm']:.1f}",
            f"{pair['z_mm']:.1f}".replace("-", "−"),
        ]
    assert sorted(said) == sorted(expected)
    pairs = json.loads(written["demo"].json.read_text())["pairs"]
    verdicts = re.findall(r"\b(clears|fails|not proven)\b", text[start:end])
    assert sorted(verdicts) == sorted(p["verdict"] for p in pairs)
    assert verdicts[0] == "fails"  # worst first


def test_hub_diameters_hold_the_numbers_of_result_json(written: dict[str, ReportFiles]) -> None:
    text = _flat(pages_of(written["demo"])[0])
    text = text[text.index("HUB DIAMETERS") :]
    found = json.loads(written["demo"].json.read_text())["hub"]
    for hub in found:
        assert f"Ø{hub['shaft_mm']:.2f}" in text
        assert f"Ø{hub['hole_mm']:.2f}" in text
        assert hub["needed"] in text
        assert _signed(hub["hole_mm"] - hub["shaft_mm"]) in text
        if hub["machine"]:
            assert f"Ø{hub['machine']['to_diameter_mm']:.2f}" in text
            assert f"{hub['machine']['per_side_mm']:.2f} mm a side" in text
    table = text[: text.index("mm, diameters;")]
    assert re.findall(r"\b(clears|fails|not proven)\b", table) == [h["verdict"] for h in found]


def test_sheet_of_a_failing_pair_shows_its_sum_as_in_result_json(
    written: dict[str, ReportFiles],
) -> None:
    pair = json.loads(written["demo"].json.read_text())["pairs"][1]
    text = _flat(next(t for t in pages_of(written["demo"]) if "HOW THE MARGIN COMES ABOUT" in t))
    gap = pair["gap_mm"]
    for line in (
        f"Certified gap of the surfaces {gap['lower']:.3f} to {gap['upper']:.3f}",
        f"Correction for the scan’s noise {_signed(-pair['noise_bias_mm'])}",
        f"Best estimate at the place {_two(pair['estimate_mm'])}",
        f"Allowances {_signed(-pair['allowances_mm'])}",
        f"Net gap {_two(pair['net_gap_mm'])}",
        f"Expanded uncertainty U {_signed(-pair['expanded_uncertainty_mm'])}",
        f"Asked {_signed(-pair['required_mm'])}",
        f"Margin {_signed(pair['margin_mm'])}",
        f"({pair['clock_deg']:.1f}°), r {pair['r_mm']:.1f}, z {pair['z_mm']:.1f}",
    ):
        assert line in text
    for cure in pair["would_clear"]:
        assert f"{cure['amount_mm']:.2f} mm" in text
        for effect in cure["side_effects"]:
            assert effect in text


def test_places_to_feel_ask_for_the_requirement_and_the_allowances(
    written: dict[str, ReportFiles],
) -> None:
    text = _flat(" ".join(pages_of(written["demo"])))
    text = text[text.index("BEFORE DRIVING") : text.index("TORQUE AND BEDDING".capitalize())]
    pairs = json.loads(written["demo"].json.read_text())["pairs"]
    sums = [p["required_mm"] + p["allowances_mm"] for p in pairs if p["estimate_mm"] <= 15]
    asked = [_two(math.ceil(one * 100 - 1e-6) / 100) for one in sums]  # never less than asked
    table = text[text.index("BY, DATE") : text.index("At least: what is asked")]
    said = re.findall(r"z −?\d+\.\d (\d+\.\d\d)", table)
    assert sorted(said) == sorted(asked)
    assert "1 further gap of the list is wider than 15 mm" in text


def test_interference_is_described_on_its_sheet(written: dict[str, ReportFiles]) -> None:
    text = _flat(" ".join(pages_of(written["many"])))
    assert "interfering: the surfaces cross, 1.40 to 1.80 mm deep" in text
    # Never less than it takes: 2.4021 is told as 2.41.
    assert "moves inboard by 2.41 mm or outboard by 7.01 mm" in text
    assert "turned by 12° to 41°, 192° to 221°" in text
    text = _flat(" ".join(pages_of(written["unknowns"])))
    assert "the surfaces cross, depth unknown, the surfaces are open" in text


def test_report_says_all_it_has_to(written: dict[str, ReportFiles]) -> None:
    result = cases.demo()
    text = _flat(" ".join(pages_of(written["demo"])))
    for sha in (cases.SCAN_SHA, cases.WHEEL_SHA, cases.SHA[::-1]):
        assert f"{sha[:32]} {sha[32:]}" in text
    for said in (
        "fails in 3 places",
        "Invented example",
        "knuckle_scan.stl",
        "JCGM 100",
        "ISO 14253-1",
        "modelling clay",
        "torque wrench",
        "Local codes and type approval",
        "common practice, no source",
        "bearing out before turning",
        "z −60.0 to −10.0 of the wheel is declared free of balance weights",
        "takes up to 4.50 mm off a gap",
        "caliper on lugs",
        "rotor – knuckle not judged: the shield stands between them",
        "caliper spokes 3.50 mm (else 4.00)",
        *(b.source for b in result.pairs[0].budget),
        *(a.source for a in result.pairs[0].allowances),
        *(f.text for f in result.findings),
        *result.not_checked,
        *(d.standard_uncertainty for d in result.datums),
    ):
        assert said in text
    for line in ("NAME", "DATE", "SIGNATURE"):
        assert text.count(line) >= 4


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("demo", "Do not machine to this set-up: gap 2 (caliper – wheel) keeps 1.90 ±0.26 mm where "
                 "4.00 mm is asked, the rotor register (Ø70.00 in Ø64.00) does not go together and "
                 "the housing in hat (Ø164.80 in Ø164.00) does not go together."),
        ("clearing", "5 gaps and 2 hub diameters keep what is asked, with allowances taken off and "
                     "uncertainty counted against them."),
        ("empty", "Nothing is proven: the job holds no pair of parts to judge."),
        ("unknowns", "Do not machine to this set-up: gap 1 (caliper – wheel) is negative, the "
                     "parts run into each other."),
    ],
)  # fmt: skip
def test_verdict_stands_on_top_in_one_sentence(
    written: dict[str, ReportFiles], name: str, sentence: str
) -> None:
    assert sentence in _flat(pages_of(written[name])[0])


def test_not_proven_names_the_measurement_that_settles_it(tmp_path: Path) -> None:
    doubtful = replace(
        cases.demo().pairs[2], verdict=Verdict.NOT_PROVEN, settle_by="gauge the bridge to ±0.05 mm"
    )
    result = cases.demo(pairs=(doubtful,), hub=(), verdict=Verdict.NOT_PROVEN)
    text = _flat(pages_of(write_report(result, tmp_path, written_at=WHEN))[0])
    assert (
        "Nothing fails, but not all is proven; to settle gap 1 (caliper – rotor): gauge the bridge "
        "to ±0.05 mm." in text
    )
    assert "1 Settle gap 1. Gauge" not in text  # foreign text is not rewritten
    assert "Settle gap 1. gauge the bridge to ±0.05 mm." in text


def test_foreign_text_stands_as_it_is_and_is_never_read_as_markup(
    written: dict[str, ReportFiles],
) -> None:
    squeezed = re.sub(r"\s", "", " ".join(pages_of(written["many"])))
    for name in (cases.FOREIGN_NAMES[0], cases.FOREIGN_NAMES[1], cases.FOREIGN_NAMES[5],
                 cases.FOREIGN_NAMES[6], cases.FOREIGN_NAMES[10]):  # fmt: skip
        assert re.sub(r"\s", "", name) in squeezed
    assert "x" * 300 in squeezed
    assert "evil□gpj.exe□□end" in squeezed


def test_letters_without_a_glyph_are_listed(written: dict[str, ReportFiles]) -> None:
    text = _flat(" ".join(pages_of(written["many"])))
    assert "LETTERS NOT PRINTED" in text
    for code in ("U+202E right-to-left override", "U+5236", "U+8ECA", "U+0007 control character"):
        assert code in text
    assert "LETTERS NOT PRINTED" not in " ".join(pages_of(written["demo"]))


def test_no_page_prints_a_missing_glyph(written: dict[str, ReportFiles]) -> None:
    # A glyph that is not there is glyph 0, which carries no text: it reads back as U+FFFD or NUL.
    for name in CASES:
        for text in pages_of(written[name]):
            assert "\ufffd" not in text
            assert "\x00" not in text


def test_fourteen_pairs_are_all_listed(written: dict[str, ReportFiles]) -> None:
    text = _flat(" ".join(pages_of(written["many"])))
    found = json.loads(written["many"].json.read_text())["pairs"]
    assert len(found) == 14
    for pair in found:
        assert _two(pair["net_gap_mm"]) in text
    heads = re.findall(r"CONTRIBUTION, TO GAP NO\. ((?:\d+ )+)", text)
    assert sorted(int(k) for head in heads for k in head.split()) == list(range(1, 15))


def test_result_json_is_attached_to_the_pdf(written: dict[str, ReportFiles]) -> None:
    for files in written.values():
        attached = pypdf.PdfReader(files.pdf).attachments
        assert attached["result.json"] == [files.json.read_bytes()]


def test_same_result_and_date_give_the_same_bytes(
    tmp_path: Path, written: dict[str, ReportFiles], monkeypatch: pytest.MonkeyPatch
) -> None:
    again = write_report(cases.demo(), tmp_path / "again", written_at=WHEN)
    for one, two in ((again.pdf, written["demo"].pdf), (again.csv, written["demo"].csv)):
        assert one.read_bytes() == two.read_bytes()
    monkeypatch.setenv("SOURCE_DATE_EPOCH", str(int(WHEN.timestamp())))
    by_environment = write_report(cases.demo(), tmp_path / "environment")
    assert by_environment.pdf.read_bytes() == again.pdf.read_bytes()
    later = write_report(cases.demo(), tmp_path / "later", written_at=WHEN.replace(year=2026))
    assert later.pdf.read_bytes() != again.pdf.read_bytes()


@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_pages_have_the_size_of_the_paper(
    tmp_path: Path, paper: str, size: tuple[float, float]
) -> None:
    files = write_report(cases.demo(), tmp_path, paper=paper, written_at=WHEN)
    texts = [_flat(text) for text in pages_of(files)]
    assert all(f"{k} of {len(texts)}" in text for k, text in enumerate(texts, start=1))
    for page in pypdf.PdfReader(files.pdf).pages:
        box = page.mediabox
        points = (float(box.width), float(box.height))
        assert [p * 25.4 / 72 for p in points] == pytest.approx(size, abs=0.01)


def test_unknown_paper_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"foolscap.*a4 or letter"):
        write_report(cases.empty(), tmp_path, paper="foolscap")


def test_folder_that_cannot_be_made_is_told_in_one_sentence(tmp_path: Path) -> None:
    blocked = tmp_path / "a file"
    blocked.write_text("")
    with pytest.raises(InputError, match="choose another folder"):
        write_report(cases.empty(), blocked / "report")
    (tmp_path / "report.pdf").mkdir()
    with pytest.raises(InputError, match="cannot be written"):
        write_report(cases.empty(), tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a file", "report.pdf"]


def test_pictures_are_asked_for_where_needed_and_shown(tmp_path: Path) -> None:
    maker = GreyPictures()
    files = write_report(cases.demo(), tmp_path, picture_maker=maker, written_at=WHEN)
    assert maker.asked == [1]  # the one that fails
    assert (tmp_path / "gap-02.png") in files.pictures
    shown = [page for page in pypdf.PdfReader(files.pdf).pages if len(page.images)]
    assert len(shown) == 1
    assert (shown[0].images[0].image or pytest.fail("no picture")).size == (1040, 780)
    dimension = _two(json.loads(files.json.read_text())["pairs"][1]["estimate_mm"])
    assert shown[0].extract_text().count(dimension) == 2  # in the sum, and on the picture
    maker = GreyPictures()
    write_report(cases.clearing(), tmp_path / "clearing", picture_maker=maker, written_at=WHEN)
    pairs = cases.clearing().pairs
    assert maker.asked == [min(range(len(pairs)), key=lambda k: pairs[k].margin_mm)]
    maker = GreyPictures()
    write_report(cases.empty(), tmp_path / "empty", picture_maker=maker, written_at=WHEN)
    assert maker.asked == []


def test_missing_pictures_are_said_in_a_sentence(tmp_path: Path) -> None:
    sentence = "Pictures are left out: no renderer works on this machine."
    files = write_report(
        cases.demo(), tmp_path, picture_maker=GreyPictures(sentence), written_at=WHEN
    )
    assert files.pictures_missing == sentence
    assert sentence in _flat(" ".join(pages_of(files)))

    def broken(*_: Any, **__: Any) -> Pictures:
        raise ClearturnError("the picture folder is gone")

    files = write_report(cases.demo(), tmp_path, picture_maker=broken, written_at=WHEN)
    assert "the picture folder is gone" in _flat(" ".join(pages_of(files)))


def test_turn_section_is_drawn_to_the_stated_scale(tmp_path: Path) -> None:
    marks = (Line(((0, 0), (100, 0)), width_mm=0.5), Text((5, 20), "section text"))
    drawing = Drawing(marks, (0, 0, 150, 100), scale=0.5, origin=(10, 10), accuracy_mm=0.01)
    files = write_report(cases.demo(turn_section=drawing), tmp_path, written_at=WHEN)
    assert (tmp_path / "turn-section.svg").read_text().startswith("<?xml") or "<svg" in (
        tmp_path / "turn-section.svg"
    ).read_text()
    text = _flat(" ".join(pages_of(files)))
    assert "section text" in text
    assert "Scale 1 : 2 " in text
    without = _flat(" ".join(pages_of(write_report(cases.demo(), tmp_path / "w", written_at=WHEN))))
    assert "There is no turn section" in without


@pytest.mark.parametrize(
    ("size", "scale"),
    [((100, 100), 1.0), ((175, 200), 1.0), ((175.1, 10), 1.5), ((10, 401), 2.5), ((7000, 1), 40.0)],
)
def test_scale_is_the_first_round_one_that_fits(size: tuple[float, float], scale: float) -> None:
    assert scale_for(Size(*size), Size(175.0, 200.0)) == scale


def test_further_sections_stand_before_what_the_job_declares(tmp_path: Path) -> None:
    def brake_balance(context: Context) -> Section:
        return Section("Brake balance", (Paragraph(f"Of {context.result.job.name}."),))

    def nothing(context: Context) -> None:
        return None

    files = write_report(
        cases.demo(), tmp_path, more_sections=(brake_balance, nothing), written_at=WHEN
    )
    text = _flat(" ".join(pages_of(files)))
    at = [text.index(t) for t in ("UNCERTAINTY", "BRAKE BALANCE", "DECLARED IN THE JOB")]
    assert at == sorted(at)
    assert "Of Aurel 4, front left, kit K350-six." in text


def test_cancelling_leaves_nothing_behind(tmp_path: Path) -> None:
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        write_report(cases.demo(), tmp_path / "a", written_at=WHEN, progress=progress)
    seen: list[float] = []

    def stop_late(fraction: float, text: str) -> None:
        seen.append(fraction)
        if fraction >= 0.8:
            late.cancel()

    late = Progress(stop_late)
    with pytest.raises(Cancelled):
        write_report(cases.demo(), tmp_path / "b", written_at=WHEN, progress=late)
    assert seen == sorted(seen)
    assert not list((tmp_path / "b").iterdir())


def test_progress_changes_nothing_in_the_report(
    tmp_path: Path, written: dict[str, ReportFiles]
) -> None:
    files = write_report(cases.demo(), tmp_path, written_at=WHEN, progress=Progress())
    assert files.pdf.read_bytes() == written["demo"].pdf.read_bytes()
