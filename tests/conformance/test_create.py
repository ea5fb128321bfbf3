"""W1-W12: a new resource, unless it is there already."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx
import pytest

from tests.api import running
from tests.api.conftest import JSON
from tests.builders import orders
from tests.conformance.speaking import BASE, SYSTEM, Json, made, observation, path_of, patient, refused, total


def unless(value: str, **more: Any) -> dict[str, Any]:
    """The words of a conditional create."""
    return {"json": patient(value, **more), "headers": JSON | {"If-None-Exist": f"identifier={SYSTEM}|{value}"}}


def test_w1_the_server_gives_id_version_and_address(rest: httpx.Client) -> None:
    body = observation(id="z", meta={"versionId": "9", "lastUpdated": "2001-01-01T00:00:00Z"})
    answer = rest.post("/fhir/Observation", json=body, headers=JSON)
    id_ = answer.json()["id"]
    assert answer.status_code == 201
    assert id_ != "z"
    assert answer.headers["location"] == f"{BASE}/Observation/{id_}/_history/1"
    assert answer.headers["etag"] == 'W/"1"'
    assert answer.headers["last-modified"].endswith(" GMT")
    assert answer.json()["meta"]["versionId"] == "1"
    assert answer.json()["meta"]["lastUpdated"] > "2026"
    assert rest.get(path_of(answer)).content == answer.content


@pytest.mark.parametrize(
    ("wish", "kind"),
    [("minimal", ""), ("representation", "Patient"), ("OperationOutcome", "OperationOutcome"), ("all", "Patient")],
)
def test_w2_prefer_decides_what_comes_back(rest: httpx.Client, wish: str, kind: str) -> None:
    prefer = JSON | {"Prefer": f"return={wish}"}
    answers = [rest.post("/fhir/Patient", json=patient(), headers=prefer)]
    answers.append(rest.put(path_of(answers[0]), json=patient(id=path_of(answers[0])[14:]), headers=prefer))
    assert [answer.status_code for answer in answers] == [201, 200]
    for answer in answers:
        assert answer.headers["location"]
        assert answer.headers["etag"]
        assert (answer.json()["resourceType"] if answer.content else "") == kind
    wrong = rest.post("/fhir/Patient", json=patient(gender="blue"), headers=prefer)
    refused(wrong, 400)  # a wish is for success: a refusal is told in any case


BROKEN = [
    b"",
    b"{",
    b"[]",
    b"null",
    b'"Patient"',
    b"{}",
    b'{"resourceType":7}',
    b'{"resourceType":"Patient","nonsense":1}',
    b'{"resourceType":"Patient","active":"yes"}',
    b'{"resourceType":"Patient","active":true,"active":false}',
    b'{"resourceType":"Patient","x":NaN}',
    b'{"resourceType":"Patient","x":1e999}',
    b'{"resourceType":"Patient","x":"\\u0000"}',
    b'{"resourceType":"Patient","x":"\\ud800"}',
    b'{"resourceType":"Patient","x":"\xc0\xaf"}',
    '{"resourceType":"Patient"}'.encode("utf-16"),
    b'{"resourceType":"Patient","x":' + b"[" * 10_000 + b"]" * 10_000 + b"}",
    b"<Patient/>",
]


@pytest.mark.parametrize("body", BROKEN, ids=range(len(BROKEN)))
def test_w3_what_is_not_one_resource_is_400_and_nothing_is_stored(rest: httpx.Client, body: bytes) -> None:
    answer = rest.post("/fhir/Patient", content=body, headers=JSON)
    refused(answer, 400, "structure", "invalid", "value")
    assert total(rest) == 0


def test_w4_what_breaks_a_rule_of_ours_is_422(practice: httpx.Client) -> None:
    rabbit = practice.post("/fhir", json=orders.bundle(orders.patient(species=orders.RABBIT)), headers=JSON)
    refused(rabbit, 422, "business-rule", "code-invalid", "not-supported")
    assert total(practice, "Task") == total(practice, "ServiceRequest") == total(practice) == 0


@pytest.mark.parametrize("type_", ["Foo", "patient", "CarePlan"])
def test_w5_a_type_that_is_not_served_is_404(rest: httpx.Client, type_: str) -> None:
    refused(rest.post(f"/fhir/{type_}", json={"resourceType": type_}, headers=JSON), 404, "not-supported", "not-found")


def test_w6_a_body_of_another_type_is_400(rest: httpx.Client) -> None:
    refused(rest.post("/fhir/Patient", json=observation(), headers=JSON), 400)
    assert total(rest) == total(rest, "Observation") == 0


def test_w7_created_when_nothing_matches(rest: httpx.Client) -> None:
    answer = rest.post("/fhir/Patient", **unless("a"))
    assert answer.status_code == 201
    assert rest.get(path_of(answer)).json() == answer.json()


def test_w8_found_when_one_matches(rest: httpx.Client) -> None:
    first, again = rest.post("/fhir/Patient", **unless("a")), rest.post("/fhir/Patient", **unless("a", active=True))
    assert again.status_code == 200
    assert again.json() == first.json()
    for name in ("location", "etag"):
        assert again.headers[name] == first.headers[name]
    assert total(rest) == 1


def test_w9_refused_when_several_match(rest: httpx.Client) -> None:
    for _ in range(2):
        made(rest, patient("a"))
    refused(rest.post("/fhir/Patient", **unless("a")), 412, "multiple-matches")
    assert total(rest) == 2


def test_w10_of_twenty_at_once_one_creates(url: str, token: str, twenty: ThreadPoolExecutor) -> None:
    def create(round_: int) -> tuple[int, Json]:
        with running.client(url, token) as rest:
            answer = rest.post("/fhir/Patient", **unless(str(round_)))
            return answer.status_code, answer.json()

    for round_ in range(3):
        answers = list(twenty.map(create, [round_] * 20))
        assert sorted(status for status, _ in answers) == [200] * 19 + [201]
        assert all(body == answers[0][1] for _, body in answers)
    with running.client(url, token) as rest:
        assert total(rest) == 3


def conditional(rest: httpx.Client, criteria: str) -> list[httpx.Response]:
    """A create, an update and a Bundle's entry under these criteria."""
    entry = {
        "resource": patient("b"),
        "request": {"method": "POST", "url": "Patient", "ifNoneExist": criteria},
    }
    bundle = {"resourceType": "Bundle", "type": "transaction", "entry": [entry]}
    return [
        rest.post("/fhir/Patient", json=patient("b"), headers=JSON | {"If-None-Exist": criteria}),
        rest.put(f"/fhir/Patient?{criteria}", json=patient("b"), headers=JSON),
        rest.post("/fhir", json=bundle, headers=JSON),
    ]


@pytest.mark.parametrize(
    "criteria", ["colour=blue", "identifier=", "birthdate=x", "identifier:foo=x", "colour=a&_id=x"]
)
def test_w11_criteria_that_are_not_understood_are_refused(rest: httpx.Client, criteria: str) -> None:
    made(rest, patient("a"))
    for answer in conditional(rest, criteria):
        assert answer.status_code in {400, 412}, answer.text
        refused(answer, answer.status_code)
    assert total(rest) == 1


@pytest.mark.parametrize(
    "criteria", ["_count=1", "_sort=_lastUpdated", "identifier=urn:x|y&_count=1", "_format=json", ""]
)
def test_w12_criteria_that_are_none_are_refused(rest: httpx.Client, criteria: str) -> None:
    made(rest, patient("a"))
    for answer in conditional(rest, criteria)[: 2 if criteria else 1]:
        refused(answer, 400)
    assert total(rest) == 1


def test_w7_a_condition_behind_the_address_is_a_condition(rest: httpx.Client) -> None:
    """Where R4 has a header for it, fhirpy's get_or_create uses the URL."""
    path = f"/fhir/Patient?identifier={SYSTEM}%7Cbehind"
    answers = [rest.post(path, json=patient("behind"), headers=JSON) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 200]
    assert total(rest) == 1
    refused(rest.post("/fhir/Patient?nothing=x", json=patient(), headers=JSON), 400)
    refused(rest.post(path, json=patient(), headers=JSON | {"If-None-Exist": "identifier=x"}), 400)
