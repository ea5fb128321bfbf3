"""The PDF of a report: tagged, the same bytes for the same report, and the same elements whatever people wrote.

Judge: poppler (pdfinfo, pdftotext), which reads the file as a reader of its own."""

import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from service.exam.report import compose
from service.exam.report_words import clean
from service.fhir.printing import Press
from service.fhir.printing.glyphs import printable
from service.fhir.writing.report_print import printed
from tests.builders.hostile import HOSTILE
from tests.builders.report_facts import FACTS, ROWS, SPLEEN, entry, measured, step, with_steps
from tests.fhir.test_report_html import everywhere

ELEMENT = re.compile(r' *([A-Z][A-Za-z0-9]*)(?: "| \(| <|:|$)')
pytestmark = pytest.mark.skipif(
    shutil.which("pdfinfo") is None and not os.environ.get("REQUIRE_OUTSIDE"), reason="poppler-utils is not here"
)


@pytest.fixture(scope="module")
def press() -> Iterator[Press]:
    made = Press(seconds=60.0)  # texts of a length that nobody writes are tried, on machines that do other things
    yield made
    made.close()


def poppler(command: str, pdf: bytes, folder: Path, *options: str) -> str:
    file = folder / "report.pdf"
    file.write_bytes(pdf)
    after = ["-"] if command == "pdftotext" else []
    return subprocess.run([command, *options, file, *after], capture_output=True, check=True, text=True).stdout


def pdf_of(press: Press, facts: object) -> bytes:
    made = press(printed(compose(facts, ROWS)))  # type: ignore[arg-type]
    assert made is not None
    return made


def elements(pdf: bytes, folder: Path) -> list[str]:
    """The structure as poppler sees it, in order, without what stands in it and without its attributes."""
    lines = poppler("pdfinfo", pdf, folder, "-struct").splitlines()
    return [found[1] for line in lines if (found := ELEMENT.match(line))]


def test_it_is_tagged_and_says_what_it_is(press: Press, tmp_path: Path) -> None:
    pdf = pdf_of(press, FACTS)
    told = poppler("pdfinfo", pdf, tmp_path)
    assert "Tagged:          yes" in told
    assert "Title:           Report: abdominal ultrasound, full survey, Quibble" in told
    assert "JavaScript:      no" in told
    assert b"<pdfuaid:part>1</pdfuaid:part>" in pdf
    assert {"Document", "H1", "H2", "Table", "THead", "TH", "TD", "L", "LI"} <= set(elements(pdf, tmp_path))


def test_it_says_what_the_plain_text_says(press: Press, tmp_path: Path) -> None:
    facts = with_steps(SPLEEN, evidence=(measured("Observation/s3", "21.40"),))
    said = " ".join(poppler("pdftotext", pdf_of(press, facts), tmp_path).split())
    report = compose(facts, ROWS)
    for section in report.sections:
        assert section.title in said
    assert "21.40 mm" in said
    assert "It is mildly enlarged." in said
    assert all(text in said for _, text in report.cautions)


def test_the_same_report_is_the_same_bytes_from_any_typesetter(press: Press) -> None:
    other = Press()
    try:
        assert pdf_of(press, FACTS) == pdf_of(press, FACTS) == pdf_of(other, FACTS)
    finally:
        other.close()


@pytest.mark.parametrize("part", [pytest.param(n, marks=pytest.mark.full) for n in range(4)])
def test_no_text_changes_an_element_of_it(press: Press, tmp_path: Path, part: int) -> None:
    plain = elements(pdf_of(press, everywhere("plain")), tmp_path)
    for text in (t for t in HOSTILE[part::4] if clean(t)):
        found = elements(pdf_of(press, everywhere(text)), tmp_path)
        explained = ["P"] if printable({"text": clean(text)})["replaced"] else []
        if len(text) > 1000:  # a paragraph that goes over a page has a part on each
            assert set(found) == set(plain), text[:20]
        else:
            assert found == [*plain, *explained], text


@pytest.mark.parametrize("text", [t for t in HOSTILE if len(t) < 1000 and clean(t).isascii() and "\n" not in clean(t)])
def test_nothing_that_people_wrote_runs_off_the_paper(press: Press, tmp_path: Path, text: str) -> None:
    facts = replace(FACTS, conclusions=(text,), practice=text)
    said = poppler("pdftotext", pdf_of(press, facts), tmp_path)
    squeezed = "".join(said.replace("\u200b", "").split())
    assert squeezed.count("".join(clean(text).split())) >= 2


@pytest.mark.parametrize(
    "issued", ["2026-11-25T13:20:00.123Z", "2026-11-25T13:20:00+02:00", "2026-11-25T13:20:59.999Z"]
)
def test_any_instant_can_be_printed(press: Press, tmp_path: Path, issued: str) -> None:
    assert "Nov 25" in poppler("pdfinfo", pdf_of(press, replace(FACTS, issued=issued)), tmp_path)


def test_what_is_taller_than_a_page_is_not_cut_off(press: Press, tmp_path: Path) -> None:
    """Many measurements of one structure, one with more digits than a page has lines, and a long remark."""
    entries = [entry("measure:thickness", source=f"Observation/m{n}") for n in range(120)]
    taken = [measured(f"Observation/m{n}", f"{n}.{n:03}") for n in range(119)]
    endless = "1" * 3000 + "7777"
    long = replace(measured("Observation/m119", endless), items=("measure:thickness",))
    facts = with_steps(step("spleen", "Spleen", *entries, station=3), evidence=(*taken, long))
    facts = replace(facts, conclusions=("word " * 3000 + "END",))
    said = "".join(poppler("pdftotext", pdf_of(press, facts), tmp_path).replace("\u200b", "").split())
    assert all(f"{n}.{n:03}mm" in said for n in range(119))
    assert said.count("7777") == 1
    assert "END" in said


def test_what_the_fonts_lack_is_told_by_its_code_and_explained(press: Press, tmp_path: Path) -> None:
    said = " ".join(poppler("pdftotext", pdf_of(press, replace(FACTS, owner="中 Ж א é")), tmp_path).split())
    assert "owner [U+4E2D] Ж" in said
    assert "stand as their Unicode code points" in said


def test_a_typesetter_that_died_is_replaced_and_one_that_hangs_is_not_waited_for(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    made = Press(seconds=1.0)
    try:
        first = pdf_of(made, FACTS)
        made._process.kill()  # type: ignore[union-attr]
        assert pdf_of(made, FACTS) == first
        endless = tmp_path / "endless.typ"
        endless.write_text("#let f(n) = if n > 0 { f(n - 1) + f(n - 1) }\n#f(60)")
        stuck = Press(endless, seconds=0.5)
        caplog.clear()
        assert stuck({"issued": "2026-11-25T13:20:00Z"}) is None
        assert len(caplog.records) == 1, "one that is late is not tried again"
        stuck.close()
    finally:
        made.close()
