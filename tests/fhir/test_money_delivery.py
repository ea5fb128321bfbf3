"""The delivery Bundle: ours under our identifier, theirs by theirs, nothing that means something only here."""

import json
from datetime import UTC, datetime
from typing import Any
from urllib.parse import parse_qsl

import pytest
from fhir.resources.R4B import get_fhir_model_class

from service.basics.judging import Version, fits_all
from service.fhir import exact, search, uris
from service.fhir.reading.bundle import entries
from service.fhir.validate import TYPES
from service.fhir.writing.delivery import SINGLE, UNIDENTIFIED, bundle
from tests.builders.money import faults

NOW = datetime(2026, 11, 25, 10, 0, 0, 123000, UTC)
REPORT, OBSERVATION = "0199aaaa-0000-7000-8000-000000000001", "0199aaaa-0000-7000-8000-000000000002"
PATIENT = {
    "resourceType": "Patient",
    "id": "animal-1",
    "identifier": [
        {"system": "http://old.example", "value": "0", "use": "old"},
        {"value": "no system"},
        {"system": "http://records.example/animal", "value": "A|7, b"},
    ],
}
ORDER = {
    "resourceType": "ServiceRequest",
    "id": "order-1",
    "identifier": [
        {"system": "http://records.example/group", "value": "G"},
        {
            "type": {"coding": [{"system": uris.IDENTIFIER_TYPE, "code": "PLAC"}]},
            "system": "http://records.example/order",
            "value": "P-1",
        },
    ],
}
OWNER = {"resourceType": "RelatedPerson", "id": "owner-1", "patient": {"reference": "Patient/animal-1"}}


def observation() -> dict[str, Any]:
    return {
        "resourceType": "Observation",
        "id": OBSERVATION,
        "meta": {"versionId": "3", "lastUpdated": "2026-11-25T09:00:00.000Z", "profile": ["http://p.example"]},
        "identifier": [{"system": "urn:scanner", "value": "9"}],
        "status": "final",
        "code": {"text": "length"},
        "subject": {"reference": "Patient/animal-1", "display": "Bramble"},
        "basedOn": [{"reference": "http://here.example/fhir/ServiceRequest/order-1"}],
        "performer": [
            {"reference": "Practitioner/p-1", "display": "Dr. S. Probe"},
            {"reference": "http://elsewhere.example/fhir/Practitioner/1"},
        ],
        "hasMember": [{"reference": f"DiagnosticReport/{REPORT}/_history/2"}],
        "valueQuantity": exact.decode(b'{"value":0.40,"unit":"mm"}'),
    }


def report() -> dict[str, Any]:
    return {
        "resourceType": "DiagnosticReport",
        "id": REPORT,
        "meta": {"versionId": "1", "lastUpdated": "2026-11-25T09:00:00.000Z"},
        "status": "final",
        "code": {"text": "survey"},
        "subject": {"reference": "Patient/animal-1"},
        "result": [{"reference": f"Observation/{OBSERVATION}"}],
    }


def sent(resources: list[dict[str, Any]], theirs: list[dict[str, Any] | None] | None = None) -> dict[str, Any]:
    theirs = [PATIENT, ORDER, OWNER, None] if theirs is None else theirs
    return bundle(resources, theirs=theirs, now=NOW, base="http://here.example/fhir/", identifier="exam-1:finished:1")


def test_ours_are_put_by_our_identifier_and_linked_inside_the_bundle():
    whole = sent([observation(), report()])
    assert faults(whole) == []
    one, two = whole["entry"][1:]
    assert one["request"] == {"method": "PUT", "url": f"Observation?identifier={uris.ID}|{OBSERVATION}"}
    assert one["fullUrl"] == f"urn:uuid:{OBSERVATION}"
    assert two["resource"]["result"] == [{"reference": f"urn:uuid:{OBSERVATION}"}]
    assert one["resource"]["hasMember"] == [{"reference": f"urn:uuid:{REPORT}"}]
    assert one["resource"]["identifier"] == [
        {"system": "urn:scanner", "value": "9"},
        {"system": uris.ID, "value": OBSERVATION},
    ]
    assert "id" not in one["resource"]
    assert one["resource"]["meta"] == {"profile": ["http://p.example"]}
    assert "meta" not in two["resource"]


def test_theirs_are_named_by_their_first_present_business_identifier():
    body = sent([observation()])["entry"][1]["resource"]
    escaped = r"Patient?identifier=http://records.example/animal|A%5C%7C7%5C%2C%20b"  # R4 search: "|" and "," escaped
    assert body["subject"] == {"reference": escaped, "display": "Bramble"}
    assert body["basedOn"] == [{"reference": "ServiceRequest?identifier=http://records.example/order|P-1"}]


def test_theirs_without_an_identifier_are_sent_once():
    first = sent([observation()])["entry"][0]
    assert first["request"] == {
        "method": "POST",
        "url": "RelatedPerson",
        "ifNoneExist": f"identifier={uris.ID}|owner-1",
    }
    assert first["resource"]["identifier"] == [{"system": uris.ID, "value": "owner-1"}]
    assert first["resource"]["patient"]["reference"].startswith("Patient?identifier=")


def test_a_link_to_what_is_not_sent_becomes_logical_and_foreign_links_stay():
    here, elsewhere = sent([observation()])["entry"][1]["resource"]["performer"]
    assert here == {
        "type": "Practitioner",
        "identifier": {"system": uris.ID, "value": "p-1"},
        "display": "Dr. S. Probe",
    }
    assert elsewhere == {"reference": "http://elsewhere.example/fhir/Practitioner/1"}


def test_types_without_identifier_are_known_by_a_tag_and_single_ones_keep_their_own():
    provenance = {"resourceType": "Provenance", "id": "v-1", "meta": {"versionId": "1"}, "target": []}
    composition = {"resourceType": "Composition", "id": "k-1"}
    known = {**composition, "id": "k-2", "identifier": {"system": "http://c.example", "value": "1"}}
    one, two, three = sent([provenance, composition, known], [])["entry"]
    assert one["request"]["url"] == f"Provenance?_tag={uris.ID}|v-1"
    assert one["resource"]["meta"] == {"tag": [{"system": uris.ID, "code": "v-1"}]}
    assert "identifier" not in one["resource"]
    assert two["resource"]["identifier"] == {"system": uris.ID, "value": "k-1"}
    assert three["request"]["url"] == "Composition?identifier=http://c.example|1"
    assert three["resource"]["identifier"] == known["identifier"]


def test_the_same_gives_the_same_bytes_and_no_full_url_twice():
    once, again = (exact.encode(sent([observation(), report()])) for _ in range(2))
    assert once == again
    assert b'"value":0.40' in once
    urls = [e["fullUrl"] for e in json.loads(once)["entry"]]
    assert len(set(urls)) == len(urls) == 3  # bdl-7
    assert json.loads(once)["timestamp"] == "2026-11-25T10:00:00.123Z"


def test_nothing_given_is_changed():
    before, owner = observation(), dict(OWNER)
    sent([before], [owner])
    assert before == observation()
    assert owner == OWNER


@pytest.mark.parametrize("type_", sorted(TYPES | UNIDENTIFIED | SINGLE))
def test_which_types_have_one_many_or_no_identifiers(type_):
    # against the element lists of fhir.resources R4B, which for identifiers are those of R4
    field = get_fhir_model_class(type_).model_fields.get("identifier")
    many = field is not None and "List" in str(field.annotation)
    assert (field is None, field is not None and not many) == (type_ in UNIDENTIFIED, type_ in SINGLE)


def found_by(criteria: str, resource: dict[str, Any]) -> bool:
    """Whether a receiver that searches as we do finds a resource by the criteria of a request or reference."""
    type_, _, text = criteria.partition("?")
    query = search.parse("records", type_, parse_qsl(text), strict=True, base="http://there.example/fhir")
    return fits_all(Version("x", 0, search.keys("records", resource)), query.criteria)


def test_a_receiver_finds_again_what_it_was_sent():
    once, *put = sent([observation(), report()])["entry"]
    for entry in put:
        assert found_by(entry["request"]["url"], {**entry["resource"], "id": "x"})
    assert found_by(f"RelatedPerson?{once['request']['ifNoneExist']}", {**once["resource"], "id": "x"})
    subject = put[0]["resource"]["subject"]["reference"]
    assert found_by(subject, PATIENT)
    assert not found_by(subject, {**PATIENT, "identifier": PATIENT["identifier"][:2]})


def test_our_own_reader_takes_the_bundle():
    read = entries(exact.decode(exact.encode(sent([observation(), report()]))))
    assert [(e.method, e.type) for e in read] == [
        ("POST", "RelatedPerson"),
        ("PUT", "Observation"),
        ("PUT", "DiagnosticReport"),
    ]
    assert read[0].if_none_exist == f"identifier={uris.ID}|owner-1"
    assert read[1].criteria == f"identifier={uris.ID}|{OBSERVATION}"
