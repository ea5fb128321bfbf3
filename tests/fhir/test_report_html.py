"""The page and the narrative: the same elements whatever people wrote, nothing fetched, nothing run."""

from dataclasses import replace
from html.parser import HTMLParser
from xml.etree import ElementTree

import html5lib
import pytest

from service.exam.report import Edition, Preparation, Report, ReportFacts, compose
from service.exam.report_words import clean
from service.exam.urgent_record import Attempt, UrgentRecord
from service.fhir.writing.report_html import html
from service.fhir.writing.report_text import narrative, plain_text
from tests.builders.hostile import HOSTILE
from tests.builders.report_facts import FACTS, ROWS, SPLEEN, entry, measured, step, with_steps


class Elements(HTMLParser):
    """The tags of a page with their attributes, and its text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, tuple[str, ...]]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, tuple(name for name, _ in attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def everywhere(text: str) -> ReportFacts:
    """The facts with this text in every place that people fill."""
    spleen = step(
        "spleen", "Spleen", entry("disposition:not-seen", reason="gas", note=text), entry("plane:long", window=text)
    )
    return replace(
        with_steps(spleen),
        animal=replace(FACTS.animal, name=text, breed=text),
        practice=text,
        owner=text,
        requester=text,
        question=text,
        history=(text,),
        preparation=Preparation(sedation=text, fasting=text, others=(text,)),
        interpreter=text,
        performers=(text,),
        conclusions=(text, text),
        differentials=(text, text),
        recommendations=(text,),
        comparison=(text,),
        procedures=(text,),
        urgent=(text,),
        urgent_records=(waiting(text), received(text)),
        studies=(text,),
        edition=Edition("amended", 2, text, text, (text,), (text,)),
    )


def waiting(text: str) -> UrgentRecord:
    """An urgent finding that nobody has received, with this text in every place that people fill."""
    return UrgentRecord(
        "Task/a", "other", text, 1, "confirmed", "2026-11-25T10:00:00Z", because=(text, text), decided_by=text,
        reason=text, message="Task/b", message_state="attempted", responsible=text, passed_on_to=(text,),
        attempts=(Attempt("2026-11-25T10:01:00Z", text, text, "voice", text),),
    )  # fmt: skip


def received(text: str) -> UrgentRecord:
    """The same, received."""
    return replace(
        waiting(text), message_state="acknowledged", communicated_by=text, communicated_to=text, method="message",
        communicated_at="2026-11-25T10:02:00Z", received_at="2026-11-25T10:03:00Z", remark=text,
    )  # fmt: skip


def parsed(page: str) -> list[str]:
    """The elements as a browser finds them, by the HTML standard's own algorithm; a fault of the page raises."""
    return [str(e.tag) for e in html5lib.HTMLParser(strict=True).parse(page).iter()]


def narrated(report: Report) -> list[str]:
    """The elements of the narrative but for the line breaks of a person's own."""
    return [e.tag for e in ElementTree.fromstring(narrative(report)).iter() if not e.tag.endswith("}br")]


@pytest.mark.parametrize("text", [t for t in HOSTILE if clean(t)])
def test_no_text_changes_an_element_of_the_page_or_the_narrative(text: str) -> None:
    plain, hostile = compose(everywhere("plain"), ROWS), compose(everywhere(text), ROWS)
    assert Elements(html(hostile)).tags == Elements(html(plain)).tags
    assert parsed(html(hostile)) == parsed(html(plain))
    assert narrated(hostile) == narrated(plain)


def test_what_people_wrote_is_shown_as_they_wrote_it() -> None:
    assert Elements(html(compose(everywhere("a < b & c"), ROWS))).text.count("a < b & c") >= 20


def test_a_name_that_ends_in_a_full_stop_ends_the_sentence_once() -> None:
    page = html(compose(replace(FACTS, interpreter="Dr. I."), ROWS))
    assert "interpreted by Dr. I." in page
    assert "Dr. I.." not in page


def test_the_page_runs_nothing_and_fetches_nothing() -> None:
    page = html(compose(FACTS, ROWS))
    tags = Elements(page).tags
    assert {"script", "img", "link", "iframe", "object", "form", "svg"}.isdisjoint(tag for tag, _ in tags)
    assert {"src", "href", "style", "srcset", "onclick"}.isdisjoint(name for _, names in tags for name in names)
    assert "default-src 'none'" in page
    assert "url(" not in page
    assert "@import" not in page


def test_the_conclusion_stands_before_everything_but_identity_and_notices() -> None:
    text = Elements(html(compose(FACTS, ROWS))).text
    assert text.index("Mildly enlarged spleen.") < text.index("Identity\n")


def test_limits_stand_beside_the_conclusion() -> None:
    text = Elements(html(compose(with_steps(step("spleen", "Spleen")), ROWS))).text
    assert text.index("Not examined: Spleen.") < text.index("Identity\n")


@pytest.mark.parametrize("form", [html, narrative, plain_text])
def test_all_forms_say_every_statement_and_every_digit(form: object) -> None:
    report = compose(FACTS, ROWS)
    said = " ".join(Elements(form(report)).text.split())  # type: ignore[operator]
    for section in report.sections:
        assert section.title in said
        for statement in section.statements:
            assert " ".join(statement.text.split()) in said
            assert all(m.value in said and m.limit in said for m in statement.measurements)
    assert "21.40 mm" in said
    assert all(text in said for _, text in report.cautions)


@pytest.mark.parametrize("form", [html, narrative, plain_text])
@pytest.mark.parametrize(
    ("status", "words"),
    [("preliminary", "This is not the final report."), ("entered-in-error", "This report was withdrawn")],
)
def test_all_forms_say_when_they_are_not_to_be_used(form: object, status: str, words: str) -> None:
    assert words in form(compose(replace(FACTS, edition=Edition(status)), ROWS))  # type: ignore[operator]


def test_the_page_is_well_formed_for_people_and_machines() -> None:
    page = html(compose(with_steps(SPLEEN, evidence=(measured("Observation/s3", "1"),)), ROWS))
    tags = Elements(page).tags
    assert page.startswith('<!DOCTYPE html>\n<html lang="en">')
    assert [t for t, _ in tags].count("h1") == 1
    assert all("scope" in names for tag, names in tags if tag == "th")
    assert {"header", "main", "footer"} <= {t for t, _ in tags}
