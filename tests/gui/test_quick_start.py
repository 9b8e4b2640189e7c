"""The printed quick start is the one its script makes of the present sentences and pictures."""

from __future__ import annotations

import importlib.util
import io
import re

import pytest
from window_support import ROOT, needs_window

needs_window()
pypdf = pytest.importorskip("pypdf")

from clearturn_app.resources.words import CAUTION, KEYS, WELCOME  # noqa: E402

pytestmark = pytest.mark.gui

PDF = ROOT / "docs" / "quick-start.pdf"


def words(text: str) -> str:
    # Set in lines, the words are broken anywhere and may carry soft hyphens.
    return re.sub(r"[\s\u00ad-]+", "", text)


@pytest.fixture(scope="module")
def pages() -> list[str]:
    return [words(page.extract_text()) for page in pypdf.PdfReader(PDF).pages]


def test_it_has_two_pages_of_a4() -> None:
    found = [page.mediabox for page in pypdf.PdfReader(PDF).pages]
    # ISO 216: A4 is 210 × 297 mm; a point is 1/72 in.
    sizes = [(float(box.width) / 72 * 25.4, float(box.height) / 72 * 25.4) for box in found]
    assert sizes == [pytest.approx((210.0, 297.0), abs=0.1)] * 2


def test_the_three_sentences_and_the_caution_stand_first(pages: list[str]) -> None:
    for sentence in (*WELCOME, CAUTION):
        assert words(sentence) in pages[0]


def test_every_key_is_listed(pages: list[str]) -> None:
    for _, what in KEYS:
        assert words(what) in pages[1]


def test_it_is_what_the_script_makes() -> None:
    script = ROOT / "docs" / "quick-start" / "make_quick_start.py"
    spec = importlib.util.spec_from_file_location("make_quick_start", script)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    # Another typesetter may draw differently, but it says the same on as many pages.
    anew = pypdf.PdfReader(io.BytesIO(module.pages()))
    kept = pypdf.PdfReader(PDF)
    assert [p.extract_text() for p in anew.pages] == [p.extract_text() for p in kept.pages]
