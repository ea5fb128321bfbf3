"""R6 and R7: what happened to a resource, a type, everything."""

import time

import httpx
import pytest

from service.store import SqlBooks
from tests.api import twins
from tests.api.conftest import JSON
from tests.conformance.speaking import SYSTEM, Json, asked, link, made, patient, put, refused, sent


def test_r6_newest_first_with_requests_and_answers(
    rest: httpx.Client, module_books: SqlBooks, organization_of: str
) -> None:
    one, other = made(rest, patient(active=True)), made(rest, {"resourceType": "Location"})
    put(rest, patient(active=False, id=one["id"]))
    twins.erase(module_books, organization_of, "Patient", id_=one["id"])
    found = rest.get(f"/fhir/Patient/{one['id']}/_history").json()
    assert found["type"] == "history"
    assert [entry["request"]["method"] for entry in found["entry"]] == ["DELETE", "PUT", "POST"]
    assert [entry["response"]["status"][:3] for entry in found["entry"]] == ["204", "200", "201"]
    assert [entry["response"]["etag"] for entry in found["entry"]] == ['W/"3"', 'W/"2"', 'W/"1"']
    moments = [entry["response"]["lastModified"] for entry in found["entry"]]
    assert moments == sorted(moments, reverse=True)
    assert "resource" not in found["entry"][0]
    assert found["entry"][2]["resource"] == one
    assert len(rest.get("/fhir/Patient/_history").json()["entry"]) == 3
    everything = rest.get("/fhir/_history").json()["entry"]
    assert len(everything) == 4
    assert everything[2]["resource"] == other
    refused(rest.get("/fhir/Patient/nobody/_history"), 404)


def test_r6_pages_hold_each_version_once(rest: httpx.Client) -> None:
    one = made(rest, patient())
    for _ in range(4):
        put(rest, patient(id=one["id"]))
    for level in (f"Patient/{one['id']}/", "Patient/", ""):
        url, seen = f"/fhir/{level}_history?_count=2", []
        while url:
            page = rest.get(url).json()
            assert len(page["entry"]) <= 2
            seen += [entry["response"]["etag"] for entry in page["entry"]]
            url = link(page, "next")
        assert seen == [f'W/"{number}"' for number in (5, 4, 3, 2, 1)]


def test_r6_since_is_at_or_after(rest: httpx.Client) -> None:
    first = made(rest, patient())
    time.sleep(0.002)  # the next moment, for versions are dated to the millisecond
    second = put(rest, patient(id=first["id"])).json()
    since = second["meta"]["lastUpdated"]
    for moment in (since, since.replace("Z", "+00:00"), since.replace("Z", "%2B00:00")):
        for level in (f"Patient/{first['id']}/", "Patient/", ""):
            found = rest.get(f"/fhir/{level}_history?_since={moment}").json()
            assert [entry["resource"] for entry in found["entry"]] == [second]
    assert "entry" not in rest.get("/fhir/_history?_since=2999-01-01T00:00:00Z").json()


def test_r6_at_finds_what_was_current_then(rest: httpx.Client) -> None:
    versions = [made(rest, patient())]
    for _ in range(2):
        time.sleep(0.01)
        versions.append(put(rest, patient(id=versions[0]["id"])).json())
    moments = [one["meta"]["lastUpdated"] for one in versions]

    def at(text: str, level: str = "") -> list[Json]:
        answer = rest.get(f"/fhir/{level}_history?_at={text}")
        assert answer.status_code == 200, answer.text
        assert "_at=" in link(answer.json(), "self")
        return [entry["resource"] for entry in answer.json().get("entry", [])]

    for level in (f"Patient/{versions[0]['id']}/", "Patient/", ""):
        assert at(moments[0], level) == [versions[0]]
        assert at(moments[1], level) == [versions[1]]
        assert at(moments[2], level) == [versions[2]]
        assert at(moments[2][:4], level) == versions[::-1]  # the whole year
        assert at("2999", level) == [versions[2]]
        assert at("2001-02", level) == []


@pytest.mark.parametrize(
    "query",
    [
        "_since=yesterday",
        "_since=2026-13-01T00:00:00Z",
        "_since=2026-01-01T00:00:00Z&_since=2026-01-02T00:00:00Z",
        "_count=0",
        "_count=x",
        "_count=1&_count=2",
        "_at=yesterday",
        "_at=2026-13",
        "_at=2026&_at=2025",
        "_page=!",
    ],
)
def test_r6_what_cannot_be_honoured_is_refused(rest: httpx.Client, query: str) -> None:
    made(rest, patient())
    for level in ("", "Patient/"):
        refused(rest.get(f"/fhir/{level}_history?{query}"), 400)


def test_r7_conditional_writes_are_shown_as_plain_ones(rest: httpx.Client) -> None:
    criteria = f"Patient?identifier={SYSTEM}|a"
    first = rest.put(f"/fhir/{criteria}", json=patient("a"), headers=JSON).json()
    assert rest.put(f"/fhir/{criteria}", json=patient("a"), headers=JSON).status_code == 200
    assert sent(rest, asked("PUT", criteria, patient("a"))).status_code == 200
    rest.post("/fhir/Patient", json=patient("b"), headers=JSON | {"If-None-Exist": f"identifier={SYSTEM}|b"})
    shown = [entry["request"] for entry in rest.get("/fhir/Patient/_history").json()["entry"]]
    updates = [{"method": "PUT", "url": f"Patient/{first['id']}"}] * 2
    assert shown == [{"method": "POST", "url": "Patient"}, *updates, shown[-1]]
    assert shown[-1]["method"] in {"POST", "PUT"}
    assert not any("?" in one["url"] for one in shown)
