"""U1-U9: the next version of a resource, by its id or by criteria that find it."""

from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest

from tests.api import running
from tests.api.conftest import JSON
from tests.conformance.speaking import SYSTEM, made, observation, path_of, patient, put, refused, total

CRITERIA = f"/fhir/Patient?identifier={SYSTEM}|a"


def test_u1_the_id_in_the_body_is_the_one_in_the_address(rest: httpx.Client) -> None:
    one = made(rest, patient())
    for body in (patient(), patient(id="other"), patient(id=7)):
        answer = rest.put(f"/fhir/Patient/{one['id']}", json=body, headers=JSON)
        assert refused(answer, 400)["expression"] == ["Patient.id"]
    assert rest.get(f"/fhir/Patient/{one['id']}").json() == one


def test_u2_the_next_version_is_numbered_and_dated_here(rest: httpx.Client) -> None:
    one = made(rest, patient())
    meta = {"versionId": "99", "lastUpdated": "2001-01-01T00:00:00Z", "tag": [{"system": SYSTEM, "code": "kept"}]}
    answer = put(rest, patient(id=one["id"], active=True, meta=meta))
    assert (answer.status_code, answer.headers["etag"]) == (200, 'W/"2"')
    assert answer.headers["last-modified"].endswith(" GMT")
    stored = answer.json()
    assert stored["meta"]["versionId"] == "2"
    assert stored["meta"]["lastUpdated"] >= one["meta"]["lastUpdated"]
    assert stored["meta"]["tag"] == meta["tag"]
    assert rest.get(f"/fhir/Patient/{one['id']}").content == answer.content


def test_u3_an_unknown_id_is_not_created(rest: httpx.Client) -> None:
    told = refused(put(rest, patient(id="mine")), 405, "not-supported")
    assert "POST" in told["details"]["text"]
    assert total(rest) == 0


def test_u4_a_stale_version_is_refused_and_the_current_one_taken(rest: httpx.Client) -> None:
    one = made(rest, observation())
    assert put(rest, one, match=1).status_code == 200
    before = rest.get(f"/fhir/Observation/{one['id']}").content
    for stale in (1, 3):
        refused(put(rest, one | {"status": "amended"}, match=stale), 412, "conflict")
    assert rest.get(f"/fhir/Observation/{one['id']}").content == before
    assert put(rest, one | {"status": "amended"}, match=2).headers["etag"] == 'W/"3"'


@pytest.mark.parametrize("type_", ["Observation", "Task", "DiagnosticReport", "ChargeItem", "Invoice"])
def test_u5_where_if_match_is_required_its_absence_is_428(rest: httpx.Client, type_: str) -> None:
    needed = {
        "Observation": observation(),
        "Task": {"resourceType": "Task", "status": "draft", "intent": "order"},
        "DiagnosticReport": {"resourceType": "DiagnosticReport", "status": "partial", "code": {"text": "x"}},
        "ChargeItem": {
            "resourceType": "ChargeItem",
            "status": "planned",
            "code": {"text": "x"},
            "subject": {"reference": "Patient/x"},
        },
        "Invoice": {"resourceType": "Invoice", "status": "draft"},
    }
    one = made(rest, needed[type_])
    refused(put(rest, one), 428, "required")
    assert put(rest, one, match=1).status_code == 200
    directory = made(rest, patient())
    assert put(rest, directory).status_code == 200  # not required there


@pytest.mark.parametrize("given", ["1", 'W/"x"', "W/1", '"', "*", 'W/"1", W/"2"', 'W/"0"', 'W/"-1"', 'w/"1"', ""])
def test_u6_a_malformed_if_match_is_400(rest: httpx.Client, given: str) -> None:
    one = made(rest, patient())
    refused(put(rest, one, **{"If-Match": given}), 400)
    for sound in ('W/"1"', '"2"'):
        assert put(rest, one, **{"If-Match": sound}).status_code == 200


def test_u7_versions_at_once_are_consecutive(url: str, token: str, twenty: ThreadPoolExecutor) -> None:
    with running.client(url, token) as rest:
        one = made(rest, patient())

    def update(_: int) -> tuple[int, str]:
        with running.client(url, token) as mine:
            answer = put(mine, one)
            return answer.status_code, answer.headers.get("etag", "")

    answers = list(twenty.map(update, range(20)))
    done = sorted(int(etag[3:-1]) for status, etag in answers if status == 200)
    assert done == list(range(2, len(done) + 2))
    assert {status for status, _ in answers} <= {200, 409}


def test_u7_of_those_who_hold_the_same_version_one_wins(url: str, token: str, twenty: ThreadPoolExecutor) -> None:
    with running.client(url, token) as rest:
        one = made(rest, observation())

    def update(version: int) -> int:
        with running.client(url, token) as mine:
            return put(mine, one, match=version).status_code

    for version in (1, 2):
        first, *others = sorted(twenty.map(update, [version] * 20))
        assert first == 200
        assert set(others) <= {409, 412}  # 409: whoever looked before the winner was done


def test_u8_an_update_by_criteria(rest: httpx.Client) -> None:
    refused(rest.put(CRITERIA, json=patient("a", id="mine"), headers=JSON), 400)
    first = rest.put(CRITERIA, json=patient("a"), headers=JSON)
    assert first.status_code == 201
    id_ = first.json()["id"]
    for body in (patient("a", active=True), patient("a", active=True, id=id_)):
        again = rest.put(CRITERIA, json=body, headers=JSON)
        assert (again.status_code, again.json()["id"]) == (200, id_)
        assert again.json()["active"] is True
    refused(rest.put(CRITERIA, json=patient("a", id="other"), headers=JSON), 400)
    made(rest, patient("a"))
    refused(rest.put(CRITERIA, json=patient("a"), headers=JSON), 412, "multiple-matches")
    assert rest.get(path_of(first)).headers["etag"] == 'W/"3"'
    for nothing in ("/fhir/Patient", "/fhir/Patient?", "/fhir/Patient?_format=json"):
        refused(rest.put(nothing, json=patient(), headers=JSON), 400)


def test_u8_criteria_are_read_to_the_letter(rest: httpx.Client) -> None:
    odd = "ä&b=c+d %26"
    for expected in (201, 200):
        answer = rest.put("/fhir/Patient", params={"identifier": f"{SYSTEM}|{odd}"}, json=patient(odd), headers=JSON)
        assert answer.status_code == expected
    assert total(rest) == 1


def test_u8_criteria_stand_for_if_match(rest: httpx.Client) -> None:
    made(rest, observation(identifier=[{"system": SYSTEM, "value": "a"}]))
    body = observation(identifier=[{"system": SYSTEM, "value": "a"}], valueString="new")
    assert rest.put(f"/fhir/Observation?identifier={SYSTEM}|a", json=body, headers=JSON).status_code == 200


def test_u9_a_stale_condition_holds_for_criteria_too(rest: httpx.Client) -> None:
    assert rest.put(CRITERIA, json=patient("a"), headers=JSON).status_code == 201
    assert rest.put(CRITERIA, json=patient("a"), headers=JSON | {"If-Match": 'W/"1"'}).status_code == 200
    refused(rest.put(CRITERIA, json=patient("a"), headers=JSON | {"If-Match": 'W/"1"'}), 412, "conflict")
    nobody = f"/fhir/Patient?identifier={SYSTEM}|nobody"
    refused(rest.put(nobody, json=patient("nobody"), headers=JSON | {"If-Match": 'W/"1"'}), 412, "conflict")
