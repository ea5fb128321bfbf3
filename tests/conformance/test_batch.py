"""T9-T15: a batch answers each entry by itself; limits, conditions and permissions hold inside a Bundle too."""

from typing import Any

import httpx
import pytest

from service.store import SqlBooks
from tests.api import running
from tests.api.conftest import JSON
from tests.conformance.speaking import SYSTEM, Json, asked, made, observation, patient, post, refused, sent, total

DOG = "urn:uuid:0190a1f0-0000-4000-8000-000000000001"


def statuses(answer: httpx.Response) -> list[str]:
    assert answer.status_code == 200, answer.text
    return [one["response"]["status"][:3] for one in answer.json()["entry"]]


def test_t9_each_entry_by_itself(rest: httpx.Client) -> None:
    one = made(rest, observation())
    answer = sent(
        rest,
        asked("GET", "Patient/nobody"),
        post(patient(gender="blue")),
        post(patient("a")),
        asked("PUT", f"Observation/{one['id']}", one),
        asked("GET", f"Observation/{one['id']}"),
        asked("DELETE", f"Observation/{one['id']}"),
        post({"resourceType": "Foo"}),
        kind="batch",
    )
    assert statuses(answer) == ["404", "400", "201", "428", "200", "405", "404"]
    body = answer.json()
    assert body["type"] == "batch-response"
    for place, entry in enumerate(body["entry"]):
        if entry["response"]["status"][0] == "4":
            issue = entry["response"]["outcome"]["issue"][0]
            assert issue["expression"][0].startswith(f"Bundle.entry[{place}]")
    assert body["entry"][4]["resource"] == one
    assert total(rest) == 1


def test_t9_entries_of_a_batch_do_not_refer_to_each_other(rest: httpx.Client) -> None:
    see = observation(subject={"reference": DOG})
    answer = sent(rest, post(patient(), full_url=DOG), post(see), kind="batch")
    assert statuses(answer) == ["201", "400"]
    assert total(rest, "Observation") == 0


@pytest.mark.parametrize("position", [0, 1, 2])
def test_t10_a_refusal_names_the_entry(rest: httpx.Client, position: int) -> None:
    for wrong in (post(patient(gender="blue")), asked("PUT", "Patient/x", patient(id="x"))):
        entries = [post(patient()), post(patient())]
        entries.insert(position, wrong)
        answer = sent(rest, *entries)
        assert 400 <= answer.status_code < 500
        places = [issue["expression"][0] for issue in answer.json()["issue"]]
        assert all(place.startswith(f"Bundle.entry[{position}]") for place in places)


def test_t11_five_hundred_entries_and_no_more(rest: httpx.Client) -> None:
    refused(sent(rest, *[post(patient())] * 501), 413, "too-costly", "too-long")
    assert total(rest) == 0
    assert sent(rest, *[post(patient())] * 500).status_code == 200
    assert total(rest) == 500


def held(rest: httpx.Client, *, kind: str, entry: Json) -> tuple[str, Json]:
    """(status, entry or outcome) of one entry alone in a Bundle."""
    answer = sent(rest, entry, kind=kind)
    if answer.status_code != 200:
        return str(answer.status_code), {}
    one: dict[str, Any] = answer.json()["entry"][0]
    return one["response"]["status"][:3], one


@pytest.mark.parametrize("kind", ["transaction", "batch"])
def test_t12_conditions_hold_in_a_bundle(rest: httpx.Client, kind: str) -> None:
    one = made(rest, observation())
    at = f"Observation/{one['id']}"
    assert held(rest, kind=kind, entry=asked("PUT", at, one, ifMatch='W/"7"'))[0] == "412"
    assert held(rest, kind=kind, entry=asked("PUT", at, one))[0] == "428"
    assert held(rest, kind=kind, entry=asked("PUT", at, one, ifMatch="garbage"))[0] == "400"
    assert held(rest, kind=kind, entry=asked("PUT", at, one, ifMatch='W/"1"'))[0] == "200"
    for expected in ("201", "200"):
        again = post(patient("a"), ifNoneExist=f"identifier={SYSTEM}|a")
        assert held(rest, kind=kind, entry=again)[0] == expected
    assert total(rest) == 1


@pytest.mark.parametrize("kind", ["transaction", "batch"])
def test_t12_a_reader_in_a_bundle_who_holds_the_version_is_told_so(rest: httpx.Client, kind: str) -> None:
    at = f"Patient/{made(rest, patient('a'))['id']}"
    for known, status in [
        ({"ifNoneMatch": 'W/"1"'}, "304"),
        ({"ifNoneMatch": 'W/"2"'}, "200"),
        ({"ifModifiedSince": "2099-01-01T00:00:00Z"}, "304"),
        ({"ifModifiedSince": "2001-01-01T00:00:00Z"}, "200"),
    ]:
        told, entry = held(rest, kind=kind, entry=asked("GET", at, **known))
        assert told == status, known
        assert ("resource" in entry) is (status == "200")
    told, entry = held(rest, kind=kind, entry=asked("GET", f"Patient?identifier={SYSTEM}|a"))
    assert told == "200"
    assert entry["resource"]["type"] == "searchset"
    assert entry["resource"]["total"] == 1


@pytest.mark.parametrize("kind", ["transaction", "batch"])
def test_t14_each_entry_is_permitted_by_itself(
    url: str, module_books: SqlBooks, organization_of: str, kind: str
) -> None:
    entries = [post(patient()), post({"resourceType": "Location"}), asked("GET", "Patient/x")]
    with running.client(url, running.register(module_books, organization_of, "system/Patient.cs")) as narrow:
        answer = sent(narrow, *entries, kind=kind)
        if kind == "batch":
            assert statuses(answer) == ["201", "403", "403"]
        else:
            refused(answer, 403, "forbidden")
            places = [one["expression"][0] for one in answer.json()["issue"]]
            assert places == ["Bundle.entry[1].request.url", "Bundle.entry[2].request.url"]
        assert total(narrow) == (1 if kind == "batch" else 0)


def test_t15_a_history_is_not_taken(rest: httpx.Client) -> None:
    made(rest, patient())
    history = rest.get("/fhir/_history").json()
    refused(rest.post("/fhir", json=history, headers=JSON), 400)
    for kind in ("searchset", "collection", "document", "message"):
        refused(rest.post("/fhir", json={"resourceType": "Bundle", "type": kind}, headers=JSON), 400)
    assert total(rest) == 1
