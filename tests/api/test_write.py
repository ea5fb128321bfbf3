"""Create and update as far as they are the face's: what is handed to the action, and how its refusals are told."""

import httpx
import pytest

from service.basics.errors import Busy, Conflict, Fault, Full, Invalid
from tests.api.conftest import JSON, Place

PATIENT = {"resourceType": "Patient", "active": True}


def test_if_none_exist_is_handed_on(rest: httpx.Client, place: Place) -> None:
    for given, expected in [("identifier=a|b", "identifier=a|b"), ("Patient?identifier=a|c", "identifier=a|c")]:
        rest.post("/fhir/Patient", json=PATIENT, headers=JSON | {"If-None-Exist": given})
        assert place.transact.calls[-1].if_none_exist == expected
    for nothing in ("", "?", "Patient?"):
        assert rest.post("/fhir/Patient", json=PATIENT, headers=JSON | {"If-None-Exist": nothing}).status_code == 400


def test_the_id_in_the_body_must_be_the_one_in_the_address(rest: httpx.Client) -> None:
    id_ = rest.post("/fhir/Patient", json=PATIENT, headers=JSON).json()["id"]
    for body in (PATIENT, PATIENT | {"id": "other"}, PATIENT | {"id": 7}):
        answer = rest.put(f"/fhir/Patient/{id_}", json=body, headers=JSON)
        assert answer.status_code == 400
        assert answer.json()["issue"][0]["expression"] == ["Patient.id"]


@pytest.mark.parametrize("given", ["1", 'W/"x"', "W/1", '"', "*", 'W/"1", W/"2"', 'W/"0"', 'W/"-1"', 'w/"1"', ""])
def test_a_malformed_if_match_never_reaches_the_action(rest: httpx.Client, place: Place, given: str) -> None:
    before = len(place.transact.calls)
    answer = rest.put("/fhir/Patient/x", json=PATIENT | {"id": "x"}, headers=JSON | {"If-Match": given})
    assert answer.status_code == 400
    assert len(place.transact.calls) == before


@pytest.mark.parametrize("given", ['W/"3"', '"3"'])
def test_if_match_is_handed_on_as_a_number(rest: httpx.Client, place: Place, given: str) -> None:
    rest.put("/fhir/Patient/x", json=PATIENT | {"id": "x"}, headers=JSON | {"If-Match": given})
    assert place.transact.calls[-1].if_match == 3


def test_an_update_by_criteria_keeps_their_exact_text(rest: httpx.Client, place: Place) -> None:
    rest.put("/fhir/Patient", params={"identifier": "urn:x|ä&b=c+d"}, json=PATIENT, headers=JSON)
    assert place.transact.calls[-1].criteria == "identifier=urn%3Ax%7C%C3%A4%26b%3Dc%2Bd"
    assert place.transact.calls[-1].id == ""


def test_criteria_that_say_nothing_are_not_everything(rest: httpx.Client, place: Place) -> None:
    before = len(place.transact.calls)
    for path in ("/fhir/Patient", "/fhir/Patient?", "/fhir/Patient?_format=json"):
        assert rest.put(path, json=PATIENT, headers=JSON).status_code == 400
    assert len(place.transact.calls) == before


def test_a_busy_store_is_tried_again_and_then_told(rest: httpx.Client, place: Place) -> None:
    place.transact.raises[:] = [Busy(retry_after=1) for _ in range(3)]
    assert rest.post("/fhir/Patient", json=PATIENT, headers=JSON).status_code == 201
    place.transact.raises[:] = [Busy(retry_after=2) for _ in range(4)]
    busy = rest.post("/fhir/Patient", json=PATIENT, headers=JSON)
    assert busy.status_code == 503
    assert busy.headers["retry-after"] == "2"
    assert place.transact.raises == []


def test_an_unknown_outcome_is_not_repeated_by_itself(rest: httpx.Client, place: Place) -> None:
    place.transact.raises[:] = [Busy(Fault("timeout", "The store did not confirm.")), AssertionError("asked again")]
    answer = rest.post("/fhir/Patient", json=PATIENT, headers=JSON)
    place.transact.raises.clear()
    assert answer.status_code == 503
    assert "retry-after" not in answer.headers
    assert answer.json()["issue"][0]["code"] == "timeout"


def test_every_fault_is_named_with_its_place(rest: httpx.Client, place: Place) -> None:
    place.transact.raises[:] = [
        Invalid(Fault("required", "It needs a status.", "Task.status"), Fault("value", "No date.", "Task.for"))
    ]
    answer = rest.post("/fhir/Task", json={"resourceType": "Task"}, headers=JSON)
    assert answer.status_code == 400
    assert [(one["code"], one["details"]["text"], one["expression"]) for one in answer.json()["issue"]] == [
        ("required", "It needs a status.", ["Task.status"]),
        ("value", "No date.", ["Task.for"]),
    ]


@pytest.mark.parametrize(("refusal", "status"), [(Conflict(), 409), (Full(), 507)])
def test_refusals_without_faults_have_words_too(
    rest: httpx.Client, place: Place, *, refusal: Exception, status: int
) -> None:
    place.transact.raises[:] = [refusal]
    answer = rest.post("/fhir/Patient", json=PATIENT, headers=JSON)
    assert answer.status_code == status
    assert answer.json()["issue"][0]["details"]["text"]


def test_what_breaks_says_only_the_requests_id(rest: httpx.Client, place: Place) -> None:
    place.transact.raises[:] = [ZeroDivisionError("the secret is 1234")]
    answer = rest.post("/fhir/Patient", json=PATIENT, headers=JSON | {"X-Request-Id": "abc"})
    assert answer.status_code == 500
    assert "1234" not in answer.text
    assert "abc" in answer.text
    assert answer.headers["x-request-id"] == "abc"
    assert answer.json()["issue"][0]["code"] == "exception"
    assert rest.get("/fhir/Patient").status_code == 200
