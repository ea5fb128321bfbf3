"""The page and the PDF of an invoice: the same elements whatever people wrote, tagged, the same bytes again.

Judges: html5lib for the page, poppler (pdfinfo, pdftotext) for the PDF."""

import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import html5lib
import pytest
from babel import localedata, numbers

from service.basics.money import Currency, Money
from service.basics.texts import clean
from service.billing.invoice import Invoice
from service.fhir.printing import Press
from service.fhir.printing.figures import LocalFigures
from service.fhir.printing.glyphs import printable
from service.fhir.writing.invoice_html import html
from service.fhir.writing.invoice_print import TEMPLATE, printed
from service.fhir.writing.invoice_text import narrative
from tests.builders.bill_sheets import everywhere, lines, shown, taken_back, whole
from tests.builders.hostile import HOSTILE

ELEMENT = re.compile(r' *([A-Z][A-Za-z0-9]*)(?: "| \(| <|:|$)')
SAID = [text for text in HOSTILE if clean(text)]
poppler = pytest.mark.skipif(
    shutil.which("pdfinfo") is None and not os.environ.get("REQUIRE_OUTSIDE"), reason="poppler-utils is not here"
)


@pytest.fixture(scope="module")
def press() -> Iterator[Press]:
    made = Press(seconds=60.0)
    yield made
    made.close()


def pdf_of(press: Press, invoice: Invoice, **how: str) -> bytes:
    made = press(printed(shown(invoice, **how)), template=TEMPLATE)  # type: ignore[arg-type]
    assert made is not None
    return made


def told(command: str, pdf: bytes, folder: Path, *options: str) -> str:
    file = folder / "invoice.pdf"
    file.write_bytes(pdf)
    after = ["-"] if command == "pdftotext" else []
    done = subprocess.run([command, *options, file, *after], capture_output=True, check=True)
    return done.stdout.decode("utf-8", "replace")  # poppler writes some attributes as UTF-16


def elements(pdf: bytes, folder: Path) -> list[str]:
    found = (ELEMENT.match(line) for line in told("pdfinfo", pdf, folder, "-struct").splitlines())
    return [one[1] for one in found if one]


def tags(page: str) -> list[tuple[str, tuple[str, ...]]]:
    tree = html5lib.parse(page, namespaceHTMLElements=False)
    return [(str(one.tag), tuple(one.attrib)) for one in tree.iter()]


@pytest.mark.parametrize("part", [0, *(pytest.param(n, marks=pytest.mark.full) for n in range(1, 4))])
def test_no_text_changes_an_element_of_the_page_or_the_narrative(part: int) -> None:
    plain = shown(everywhere("plain"), notes=["plain"])
    for text in SAID[part::4]:
        sheet = shown(everywhere(text), notes=[text])
        lines = [len(one.lines) for one in (sheet.seller, sheet.buyer)]
        if "\n" not in clean(text):  # a line more of an address is a paragraph more
            assert lines == [2, 2]
            assert tags(html(sheet)) == tags(html(plain)), text
        found = {e.tag.rpartition("}")[2] for e in ElementTree.fromstring(narrative(sheet)).iter()}
        assert found == {"div", "h1", "p", "table", "tr", "th", "td"}, text


def test_the_page_fetches_and_runs_nothing() -> None:
    page = html(shown(everywhere("<script>alert(1)</script>")))
    names = {tag for tag, _ in tags(page)}
    assert not names & {"script", "link", "img", "iframe", "object", "form", "base", "a"}
    assert not {name for _, attributes in tags(page) for name in attributes} & {"src", "href", "onload", "style"}
    assert "default-src 'none'" in page
    html5lib.HTMLParser(strict=True).parse(page)  # raises at the first thing that HTML does not allow
    assert "url(" not in page


@poppler
def test_the_pdf_is_tagged_and_says_what_it_is(press: Press, tmp_path: Path) -> None:
    pdf = pdf_of(press, whole(language="de-AT"))
    said = told("pdfinfo", pdf, tmp_path)
    assert "Tagged:          yes" in said
    assert "Title:           Rechnung 2026-000042" in said
    assert "JavaScript:      no" in said
    assert b"<pdfuaid:part>1</pdfuaid:part>" in pdf
    assert b"de-AT" in pdf
    assert {"Document", "Table", "THead", "TH", "TD", "H1"} <= set(elements(pdf, tmp_path))


@poppler
@pytest.mark.parametrize("language", ["en", "de"])
def test_the_pdf_says_what_the_page_says(press: Press, tmp_path: Path, language: str) -> None:
    for invoice in (whole(language=language), taken_back(whole(language=language))):
        sheet = shown(invoice, notes=["A note of its own."])
        tree = html5lib.parse(html(sheet), namespaceHTMLElements=False)
        made = press(printed(sheet), template=TEMPLATE)
        assert made is not None
        squeezed = "".join(told("pdftotext", made, tmp_path, "-layout").replace("\u200b", "").split())
        body = tree.find("body")
        missing = [t for t in body.itertext() if t.strip() and "".join(t.split()) not in squeezed]
        assert missing == []


@poppler
def test_the_same_invoice_is_the_same_bytes_from_any_typesetter(press: Press) -> None:
    other = Press()
    try:
        assert pdf_of(press, whole()) == pdf_of(press, whole()) == pdf_of(other, whole())
    finally:
        other.close()


@poppler
@pytest.mark.full
@pytest.mark.parametrize("part", range(4))
def test_no_text_changes_an_element_of_the_pdf(press: Press, tmp_path: Path, part: int) -> None:
    plain = elements(pdf_of(press, everywhere("plain")), tmp_path)
    for text in SAID[part::4]:
        found = elements(pdf_of(press, everywhere(text)), tmp_path)
        explained = ["P"] if printable({"text": clean(text)})["replaced"] else []
        if len(text) > 500 or "\n" in clean(text):  # a paragraph that goes over a page has a part on each
            assert set(found) == set(plain), text[:20]
        else:
            assert found == [*plain, *explained], text


@poppler
@pytest.mark.parametrize("text", ['#read("/etc/passwd")', "{page} of {pages}", "= Heading", "x" * 300, "中 é"])
def test_what_people_wrote_is_printed_as_it_is(press: Press, tmp_path: Path, text: str) -> None:
    shown_as = printable({"text": text})["text"]
    said = "".join(told("pdftotext", pdf_of(press, everywhere(text)), tmp_path).replace("\u200b", "").split())
    assert said.count("".join(shown_as.split())) >= 8
    assert "root:" not in said


@poppler
def test_many_lines_go_over_many_pages_and_none_is_lost(press: Press, tmp_path: Path) -> None:
    one = lines()[0]
    many = tuple(replace(one, sequence=n, text=f"Service number {n}.") for n in range(1, 181))
    pdf = pdf_of(press, replace(whole(), lines=many))
    said = told("pdftotext", pdf, tmp_path)
    assert all(f"Service number {n}." in said for n in range(1, 181))
    assert "Page 5 of 5" in said or "Page 4 of 4" in said


@pytest.mark.full
def test_every_language_that_has_locale_data_writes_every_digit() -> None:
    for language in localedata.locale_identifiers():
        figures = LocalFigures(language.replace("_", "-"))
        for exponent, minor in ((0, -1234567), (2, 1234500), (3, 7)):
            money = Money(minor, Currency("EUR", exponent))
            written = figures.figure(money)
            assert numbers.parse_decimal(written, figures.locale) == money.decimal(), language
            digits = re.sub(r"[^0-9]", "", figures.amount(money))
            assert int(digits) == abs(minor), language
            assert digits.endswith(str(abs(minor))[-3:]), language
