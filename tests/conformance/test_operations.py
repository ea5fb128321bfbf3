"""O1-O3: what is wrong with a resource, everything of an animal, and no operation that is not declared."""

from typing import Any

import httpx
import pytest

from tests.api.conftest import JSON
from tests.conformance.speaking import ids, link, made, observation, patient, refused, total

GOOD = patient(active=True)
BROKEN = GOOD | {"nonsense": 1, "gender": "blue"}


def given(resource: dict[str, Any], **more: str) -> dict[str, Any]:
    """Parameters of $validate."""
    plain = [{"name": name, ("valueUri" if name == "profile" else "valueCode"): value} for name, value in more.items()]
    return {"resourceType": "Parameters", "parameter": [{"name": "resource", "resource": resource}, *plain]}


def errors(answer: httpx.Response) -> list[str]:
    assert answer.status_code == 200, answer.text
    assert answer.json()["resourceType"] == "OperationOutcome"
    return [one["expression"][0] for one in answer.json()["issue"] if one["severity"] in {"error", "fatal"}]


@pytest.mark.parametrize("level", ["", "/id"])
def test_o1_validate_tells_every_fault_and_stores_nothing(rest: httpx.Client, level: str) -> None:
    at = f"/{made(rest, GOOD)['id']}" if level else ""
    before = total(rest)
    path = f"/fhir/Patient{at}/$validate"
    for body in (GOOD, given(GOOD)):
        assert errors(rest.post(path, json=body, headers=JSON)) == []
    for body in (BROKEN, given(BROKEN)):
        assert errors(rest.post(path, json=body, headers=JSON)) == ["Patient.gender", "Patient.nonsense"]
    assert errors(rest.post(path, json={"resourceType": "Location"}, headers=JSON)) != []
    assert total(rest) == before


@pytest.mark.parametrize("body", [b"{", b"[]", b'{"resourceType":"Parameters"}'])
def test_o1_what_cannot_be_checked_is_400(rest: httpx.Client, body: bytes) -> None:
    refused(rest.post("/fhir/Patient/$validate", content=body, headers=JSON), 400)
    refused(rest.post("/fhir/Foo/$validate", json=GOOD, headers=JSON), 404)


@pytest.mark.parametrize("mode", ["create", "update"])
def test_o1_a_mode_is_taken(rest: httpx.Client, mode: str) -> None:
    one = made(rest, GOOD)
    assert errors(rest.post(f"/fhir/Patient/{one['id']}/$validate", json=given(one, mode=mode), headers=JSON)) == []


def test_o2_everything_of_an_animal(rest: httpx.Client) -> None:
    dog, cat = made(rest, patient()), made(rest, patient())
    place = made(rest, {"resourceType": "Location"})
    of_dog = [
        made(rest, observation(subject={"reference": f"Patient/{dog['id']}"}, effectiveDateTime=f"2026-01-0{day}"))
        for day in (1, 2, 3)
    ]
    made(rest, observation(subject={"reference": f"Patient/{cat['id']}"}))
    visit = {
        "resourceType": "Encounter",
        "status": "finished",
        "class": {"code": "AMB"},
        "subject": {"reference": f"Patient/{dog['id']}"},
        "location": [{"location": {"reference": f"Location/{place['id']}"}}],
    }
    visit = made(rest, visit)

    def seen(query: str) -> set[str]:
        url, found = f"/fhir/Patient/{dog['id']}/$everything{query}", list[str]()
        while url:
            answer = rest.get(url)
            assert answer.status_code == 200, answer.text
            found += [entry["resource"]["id"] for entry in answer.json().get("entry", [])]
            url = link(answer.json(), "next")
        assert len(found) == len(set(found))
        return set(found)

    all_of_it = {dog["id"], place["id"], visit["id"], *(one["id"] for one in of_dog)}
    assert seen("") == all_of_it
    assert seen("?_count=2") == all_of_it
    assert {one["id"] for one in of_dog} <= seen("?_type=Observation")
    assert visit["id"] not in seen("?_type=Observation")
    in_time = seen("?start=2026-01-02&end=2026-01-02")
    assert of_dog[1]["id"] in in_time
    assert not {of_dog[0]["id"], of_dog[2]["id"]} & in_time
    assert of_dog[0]["id"] not in seen("?_since=2999-01-01T00:00:00Z")
    refused(rest.get("/fhir/Patient/nobody/$everything"), 404)


def test_o3_the_last_of_each_code(rest: httpx.Client) -> None:
    dog = made(rest, patient())
    kinds = [{"coding": [{"system": "urn:invented", "code": code}]} for code in ("a", "b")]
    made_here = [
        made(
            rest,
            observation(
                subject={"reference": f"Patient/{dog['id']}"}, effectiveDateTime=f"2026-01-0{day}", code=kinds[day % 2]
            ),
        )
        for day in (1, 2, 3, 4)
    ]
    answer = rest.get(f"/fhir/Observation/$lastn?patient=Patient/{dog['id']}")
    assert answer.status_code == 200, answer.text
    assert set(ids(answer.json())) == {made_here[2]["id"], made_here[3]["id"]}
    two = rest.get(f"/fhir/Observation/$lastn?patient=Patient/{dog['id']}&max=2")
    assert set(ids(two.json())) == {one["id"] for one in made_here}


def test_o3_a_document_of_a_composition(rest: httpx.Client) -> None:
    author, dog = made(rest, {"resourceType": "Organization", "name": "Invented"}), made(rest, patient())
    seen = made(rest, observation(subject={"reference": f"Patient/{dog['id']}"}))
    letter = made(
        rest,
        {
            "resourceType": "Composition",
            "status": "final",
            "type": {"text": "a letter"},
            "date": "2026-01-01",
            "title": "An invented letter",
            "subject": {"reference": f"Patient/{dog['id']}"},
            "author": [{"reference": f"Organization/{author['id']}"}],
            "section": [{"title": "Seen", "entry": [{"reference": f"Observation/{seen['id']}"}]}],
        },
    )
    answer = rest.get(f"/fhir/Composition/{letter['id']}/$document")
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert body["type"] == "document"
    assert body["identifier"]["value"]
    assert body["timestamp"]
    held = [entry["resource"]["id"] for entry in body["entry"]]
    assert held[0] == letter["id"]
    assert set(held) == {letter["id"], author["id"], dog["id"], seen["id"]}
    refused(rest.get("/fhir/Composition/nobody/$document"), 404)


def test_o3_the_meta_of_a_resource(rest: httpx.Client) -> None:
    one = made(rest, patient(meta={"tag": [{"system": "urn:invented", "code": "x"}]}))
    answer = rest.get(f"/fhir/Patient/{one['id']}/$meta")
    assert answer.status_code == 200, answer.text
    assert answer.json()["parameter"] == [{"name": "return", "valueMeta": one["meta"]}]


@pytest.mark.parametrize(
    "path",
    [
        "PlanDefinition/x/$apply",
        "ChargeItemDefinition/x/$apply",
        "Encounter/x/$everything",
        "$process-message",
        "QuestionnaireResponse/x/$extract",
        "Patient/$match",
    ],
)
def test_o3_what_is_not_declared_is_not_there(rest: httpx.Client, path: str) -> None:
    declared = rest.get("/fhir/metadata").json()["rest"][0]["resource"]
    type_, name = path.split("/")[0], path.rpartition("$")[2]
    assert name not in {o["name"] for one in declared if one["type"] == type_ for o in one.get("operation", [])}
    answer = rest.post(f"/fhir/{path}", json={"resourceType": "Parameters"}, headers=JSON)
    refused(answer, 404, "not-supported", "not-found")
