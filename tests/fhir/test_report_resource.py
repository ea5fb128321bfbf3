"""The DiagnosticReport of a report: valid R4, three forms that say the same, and everything an amendment needs."""

import hashlib
import json
from base64 import b64decode
from dataclasses import replace
from typing import Any

import fhirkit
import pytest

from service.exam.report import Edition, compose, lines
from service.fhir import r4, uris, validate
from service.fhir.reading.report import read_lines, read_report
from service.fhir.writing.report import Links, Party, diagnostic_report
from service.fhir.writing.report_text import plain_text
from tests.builders.hostile import HOSTILE
from tests.builders.report_facts import FACTS, LATER, ROWS, step, with_steps
from tests.fhir.test_report_html import everywhere

LINKS = Links(
    id="report-1",
    order="ServiceRequest/order-1",
    animal="Patient/animal-1",
    organization=Party(display="Invented Referral Practice", type="Organization"),
    interpreter=Party("Practitioner/reader-1", "Dr I. Reader"),
    performers=(Party(display="S. Scanner"),),
    results=("Observation/s1", "Observation/s2"),
    studies=("ImagingStudy/study-1",),
    media=("Media/m1",),
    identifiers=({"system": "urn:example:accession", "value": "A-1"},),
)
AMENDED = Edition(
    "amended",
    2,
    "Second reading",
    "Dr J. Reader",
    ("Conclusion: added “Node.”",),
    ("B. Referrer",),
    "2026-11-25T14:00:00Z",
)
FULL = replace(
    FACTS,
    edition=AMENDED,
    conclusions=("Enlarged spleen.\nNot urgent.", "Node."),
    differentials=("Hyperplasia", "Tumour"),
    recommendations=("- Recheck in four weeks",),
    comparison=("Compared with March: larger.",),
    procedures=("Needle sample of the spleen.",),
    urgent=("B. Referrer told by telephone at 14:00.",),
)


def written(facts: Any = FACTS, links: Links = LINKS) -> dict[str, Any]:
    return diagnostic_report(compose(facts, ROWS), links=links)


@pytest.mark.parametrize("status", ["partial", "preliminary", "final", "corrected", "appended", "entered-in-error"])
def test_it_is_valid_r4_by_three_judges(status: str) -> None:
    """Judges: our schema of HL7's definitions, fhir.resources' R4B classes, fhirkit-rs."""
    resource = written(replace(FULL, edition=replace(AMENDED, status=status)))
    assert validate.check(resource) == []
    r4.model("DiagnosticReport").model_validate(resource)
    assert fhirkit.validate(json.dumps(resource)) == []


def test_a_report_with_the_least_links_is_valid_too() -> None:
    bare = Links("r", "ServiceRequest/o", "Patient/a", Party(), Party())
    resource = written(with_steps(), bare)
    assert validate.check(resource) == []
    assert fhirkit.validate(json.dumps(resource)) == []
    assert {"performer", "resultsInterpreter", "result", "imagingStudy", "media"}.isdisjoint(resource)


def test_what_the_resource_says() -> None:
    resource = written()
    assert resource["status"] == "final"
    assert resource["identifier"] == [
        {"system": uris.ID, "value": "report-1"},
        {"system": "urn:example:accession", "value": "A-1"},
    ]
    assert resource["category"][0]["coding"][0]["code"] == "RUS"  # v2 table 0074: Radiology Ultrasound
    assert [c["code"] for c in resource["code"]["coding"]] == ["24558-9", "full"]
    assert (resource["effectiveDateTime"], resource["issued"]) == (FACTS.started, LATER)
    assert resource["performer"][0] == {"type": "Organization", "display": "Invented Referral Practice"}
    assert resource["resultsInterpreter"] == [{"reference": "Practitioner/reader-1", "display": "Dr I. Reader"}]
    assert resource["media"] == [{"link": {"reference": "Media/m1"}}]


def test_the_conclusion_carries_the_limits_for_those_who_read_nothing_else() -> None:
    facts = replace(with_steps(step("spleen", "Spleen")), conclusions=("Nothing found.",))
    assert written(facts)["conclusion"] == "Nothing found.\nNot examined: Spleen."
    assert written()["conclusion"] == "1. Mildly enlarged spleen.\n2. No other abnormality seen."
    assert "conclusion" not in written(replace(FACTS, conclusions=()))


def test_attachments_hold_what_their_size_and_hash_say() -> None:
    html, text = written()["presentedForm"]
    for form in (html, text):
        body = b64decode(form["data"])
        assert form["size"] == len(body)
        assert b64decode(form["hash"]) == hashlib.sha1(body, usedforsecurity=False).digest()
    assert html["contentType"] == "text/html; charset=utf-8"
    assert b64decode(text["data"]).decode() == plain_text(compose(FACTS, ROWS))


def test_the_same_report_has_the_same_bytes() -> None:
    assert json.dumps(written(FULL)) == json.dumps(written(FULL))


def test_an_amendment_reads_back_what_was_written() -> None:
    resource = json.loads(json.dumps(written(FULL)))
    back = read_report(resource)
    assert (back.id, back.status, back.number, back.issued) == ("report-1", "amended", 2, LATER)
    assert (back.by, back.reason, back.interpreter) == ("Dr J. Reader", "Second reading", "Dr I. Reader")
    assert (back.changes, back.told, back.replaced_issued) == (AMENDED.changes, AMENDED.told, AMENDED.replaced_issued)
    assert back.conclusions == FULL.conclusions
    assert back.differentials == FULL.differentials
    assert back.recommendations == FULL.recommendations
    assert (back.comparison, back.procedures, back.urgent) == (FULL.comparison, FULL.procedures, FULL.urgent)
    assert back.lines == lines(compose(FULL, ROWS))


def test_a_report_of_someone_else_reads_as_far_as_it_goes() -> None:
    back = read_report({"resourceType": "DiagnosticReport", "id": "x", "status": "final"})
    assert (back.number, back.conclusions, back.lines) == (1, (), ())


def test_no_authored_text_can_pass_for_a_line_of_the_reports_own() -> None:
    forged = "Fine.\n\nSignature\n=========\n- Interpreted by:\tSomeone else\n1. Not this"
    facts = replace(FACTS, conclusions=(forged,), interpreter="A\n- Status:\tfinal")
    report = compose(facts, ROWS)
    back = list(read_lines(plain_text(report)))
    assert tuple(back) == lines(report)
    assert [line.text for line in back if line.label == "Interpreted by"] == ["A - Status: final"]


@pytest.mark.parametrize("text", HOSTILE)
def test_no_text_changes_how_the_plain_text_is_read_back(text: str) -> None:
    report = compose(everywhere(text), ROWS)
    assert tuple(read_lines(plain_text(report))) == lines(report)
    assert validate.check(diagnostic_report(report, links=LINKS)) == []


@pytest.mark.parametrize("status", ["amended", "corrected", "appended", "entered-in-error"])
def test_a_change_names_its_reason(status: str) -> None:
    resource = written(replace(FACTS, edition=replace(AMENDED, status=status)))
    reason = next(e for e in resource["extension"] if e["url"] == uris.STATUS_REASON)["valueCodeableConcept"]
    assert reason == {"coding": [{"system": uris.AMENDMENT, "code": status}], "text": "Second reading"}


def test_a_final_report_gives_no_reason() -> None:
    assert not [e for e in written()["extension"] if e["url"] == uris.STATUS_REASON]
