"""The Composition of a report's document: valid R4, its sections those of the report, the same whenever it is made."""

import json
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree

import fhirkit
import pytest

from service.exam.report import Edition, compose, lines
from service.fhir import r4, uris, validate
from service.fhir.reading.report import read_report
from service.fhir.writing.report import diagnostic_report
from service.fhir.writing.report_document import composition
from tests.builders.hostile import SINGLE
from tests.builders.report_facts import FACTS, ROWS
from tests.fhir.test_report_html import everywhere
from tests.fhir.test_report_resource import FULL, LINKS

BASE = "https://here.example/fhir"
KEYS = {title: key for key, title in ROWS.sections}


def made(facts: Any = FULL, version: str = "2") -> dict[str, Any]:
    report = diagnostic_report(compose(facts, ROWS), links=LINKS) | {"meta": {"versionId": version}}
    return composition(report, read_report(report).lines, keys=KEYS, base=BASE)


@pytest.mark.parametrize("status", ["preliminary", "final", "amended", "corrected", "appended", "entered-in-error"])
def test_it_is_valid_r4_by_three_judges(status: str) -> None:
    """Judges: our schema of HL7's definitions, fhir.resources' R4B classes, fhirkit-rs."""
    resource = made(replace(FULL, edition=replace(FULL.edition, status=status)))
    assert validate.check(resource) == []
    r4.model("Composition").model_validate(resource)
    assert fhirkit.validate(json.dumps(resource)) == []


def test_its_sections_are_those_of_the_report_with_every_statement() -> None:
    report, document = compose(FULL, ROWS), made()
    assert [s["title"] for s in document["section"]] == [s.title for s in report.sections]
    assert [s["code"]["coding"][0]["code"] for s in document["section"]] == [s.key for s in report.sections]
    said = " ".join("".join(ElementTree.fromstring(s["text"]["div"]).itertext()) for s in document["section"])
    for line in lines(report):
        assert "".join(line.text.split()) in "".join(said.split())


def test_each_section_leads_to_what_it_rests_on() -> None:
    found = {s["code"]["coding"][0]["code"]: [e["reference"] for e in s.get("entry", [])] for s in made()["section"]}
    assert found["identity"] == [f"{BASE}/Patient/animal-1"]
    assert found["question"] == [f"{BASE}/ServiceRequest/order-1"]
    assert found["findings"] == [f"{BASE}/Observation/s1", f"{BASE}/Observation/s2"]
    assert found["images"] == [f"{BASE}/ImagingStudy/study-1", f"{BASE}/Media/m1"]
    assert found["limits"] == []


@pytest.mark.parametrize(
    ("status", "word", "signed"),
    [
        ("preliminary", "preliminary", 0),
        ("final", "final", 1),
        ("appended", "amended", 1),
        ("entered-in-error",) * 2 + (0,),
    ],
)
def test_status_and_signature(status: str, word: str, signed: int) -> None:
    document = made(replace(FACTS, edition=Edition(status)))
    assert (document["status"], len(document.get("attester", []))) == (word, signed)


def test_a_later_version_names_the_one_it_replaces_and_each_has_its_own_id() -> None:
    first, second = made(version="1"), made(version="2")
    assert "relatesTo" not in first
    assert second["relatesTo"] == [{"code": "replaces", "targetIdentifier": first["identifier"]}]
    assert first["identifier"] == {"system": uris.ID, "value": "report-1/1"}
    assert first["id"] != second["id"]
    assert made() == made()


@pytest.mark.parametrize("text", SINGLE)
def test_no_text_changes_an_element_of_a_section(text: str) -> None:
    for section in made(everywhere(text))["section"]:
        names = {e.tag.rpartition("}")[2] for e in ElementTree.fromstring(section["text"]["div"]).iter()}
        assert names <= {"div", "ul", "li", "b", "br"}
