"""The audit over HTTP: read, searched and paged as AuditEvents, never written, and nobody else's."""

from dataclasses import replace
from typing import Any

import httpx
import pytest

from service.basics.stored import Trace
from service.fhir import validate
from tests.builders.audit_lines import READ
from tests.builders.audited import Audited, Open

Json = dict[str, Any]
AUDIT = "/fhir/AuditEvent"


def told(at: Audited, count: int, **changes: str) -> list[Trace]:
    """So many lines, one second apart, the oldest first."""
    made = [
        replace(READ, id=f"{at.organization}-{n}", recorded=f"2026-11-25T13:{n // 60:02}:{n % 60:02}.000Z", **changes)
        for n in range(count)
    ]
    at.books.trace_reads([(at.organization, line) for line in made])
    return made


def page(at: Audited, url: str = AUDIT, **params: str) -> Json:
    answer = at.http.get(url, params=params or None)
    assert answer.status_code == 200, answer.text
    found: Json = answer.json()
    assert validate.check(found) == []
    return found


def ids(found: Json) -> list[str]:
    return [one["resource"]["id"] for one in found.get("entry", []) if one["search"]["mode"] == "match"]


def links(found: Json) -> dict[str, str]:
    return {one["relation"]: one["url"] for one in found["link"]}


def test_one_event_is_read_and_its_address_is_the_one_it_was_found_at(enter: Open) -> None:
    at = enter()
    told(at, 1)
    (entry,) = page(at, date="le2026-11-25T14:00:00Z")["entry"]
    event = entry["resource"]
    read = at.http.get(f"{AUDIT}/{event['id']}")
    assert read.json() == event
    assert entry["fullUrl"].endswith(f"{AUDIT}/{event['id']}")
    assert (read.headers["etag"], read.headers["last-modified"]) == ('W/"1"', "Wed, 25 Nov 2026 13:00:00 GMT")
    assert at.http.get(f"{AUDIT}/{event['id']}", headers={"If-None-Match": 'W/"1"'}).status_code == 304
    assert at.http.head(f"{AUDIT}/{event['id']}").content == b""
    assert event["agent"][0]["name"] == "scanner room"
    assert event["agent"][0]["who"]["identifier"]["value"] == at.organization


def test_pages_lead_through_all_lines_the_newest_first(enter: Open) -> None:
    at = enter()
    made = [line.id for line in told(at, 7)]
    found, pages, url = [], 0, f"{AUDIT}?date=2026-11-25&_count=3"
    while url:
        one = page(at, url)
        found += ids(one)
        assert "total" not in one
        url = links(one).get("next", "").replace("http://sonoledger.example", "")
        pages += 1
    assert found == made[::-1]
    assert pages == 3
    assert at.http.get(f"{AUDIT}?_page=elsewhere").status_code == 400


def test_a_search_is_asked_by_get_or_by_post(enter: Open) -> None:
    at = enter()
    made = told(at, 3)
    at.books.trace_reads([(at.organization, replace(READ, id="other", type="Task", id_of="t1", entities=()))])
    asked = {"entity": "Patient/p1", "subtype": "read", "action": "R", "outcome": "0", "date": "ge2026-11-25T13:00:01Z"}
    found = page(at, **asked, _count="2")
    assert ids(found) == [made[2].id, made[1].id]
    assert links(found)["self"].partition("?")[2].count("=") == 6
    posted = at.http.post(f"{AUDIT}/_search?_count=2", data=asked)
    assert ids(posted.json()) == ids(found)
    assert links(posted.json())["self"].startswith("http://sonoledger.example/fhir/AuditEvent?")
    assert ids(page(at, entity="Task/t1")) == ["other"]
    assert ids(page(at, outcome="8")) == []


def test_what_is_not_known_is_told_and_refused_when_asked_to_be_strict(enter: Open) -> None:
    at = enter()
    told(at, 1)
    (entry, said) = page(at, agent="x")["entry"]
    assert (entry["search"]["mode"], said["search"]["mode"]) == ("match", "outcome")
    assert "agent" in said["resource"]["issue"][0]["details"]["text"]
    assert at.http.get(f"{AUDIT}?agent=x", headers={"Prefer": "handling=strict"}).status_code == 400
    assert at.http.get(f"{AUDIT}?_summary=count").status_code == 400


def test_a_page_that_looked_through_a_part_only_says_so(enter: Open) -> None:
    at = enter()
    told(at, 1, outcome="8")
    later = [replace(READ, id=f"later-{n}", recorded="2026-11-25T15:00:00.000Z") for n in range(10_000)]
    at.books.trace_reads([(at.organization, line) for line in later])
    first = page(at, outcome="8", date="2026-11-25")
    assert ids(first) == []
    assert first["entry"][0]["resource"]["issue"][0]["severity"] == "information"
    second = page(at, links(first)["next"].replace("http://sonoledger.example", ""))
    assert ids(second) == [f"{at.organization}-0"]
    assert "next" not in links(second)


def test_nobody_sees_the_lines_of_another_organisation(enter: Open) -> None:
    mine, other = enter(), enter("practice")
    told(mine, 2)
    (theirs, _) = told(other, 2)
    same = enter("practice", "system/AuditEvent.rs", name=other.organization)
    unknown = mine.http.get(f"{AUDIT}/{theirs.id}")
    assert unknown.status_code == 404
    assert unknown.text.replace(theirs.id, "") == mine.http.get(f"{AUDIT}/nobody").text.replace("nobody", "")
    assert same.http.get(f"{AUDIT}/{theirs.id}").status_code == 200
    for params in ({}, {"entity": "Patient/p1"}, {"_id": theirs.id}, {"_count": "500"}):
        found = page(mine, **params)
        asked = (links(found)["self"], links(found)["first"], theirs.id)  # its own questions, as its lines tell them
        text = str(found)
        for own in asked:
            text = text.replace(own, "")
        assert other.organization not in text
    place = links(page(other, _count="1", date="2026-11-25"))["next"].partition("_page=")[2]
    assert set(ids(page(mine, _page=place, date="2026-11-25"))) <= {f"{mine.organization}-{n}" for n in range(2)}


def test_nothing_that_was_asked_or_sent_is_in_the_audit(enter: Open) -> None:
    at = enter()
    words = "Quillfeather"
    at.http.get("/fhir/Patient", params={"name": words})
    at.http.post("/fhir/Patient", json={"resourceType": "Patient", "name": [{"text": words}]})
    at.http.post("/fhir/Patient", json={"resourceType": "Patient", "colour": words})
    at.http.get(f"/fhir/Patient/{words}%20of%20Nowhere")
    at.http.get(f"/fhir/Patient/$find-{words}")
    at.left()
    shown = at.http.get(AUDIT)
    assert len(ids(shown.json())) >= 5
    assert words not in shown.text
    token = at.http.headers["authorization"].partition(" ")[2]
    assert token not in shown.text


@pytest.fixture
def event(enter: Open) -> tuple[Audited, Json]:
    at = enter()
    told(at, 1)
    return at, page(at)["entry"][0]["resource"]


@pytest.mark.parametrize(
    ("method", "path", "line", "allow"),
    [
        ("POST", "", ("create", "C"), "GET HEAD"),
        ("PUT", "?_id=x", ("update", "U"), "GET HEAD"),
        ("PUT", "/{id}", ("update", "U"), "GET HEAD"),
        ("PATCH", "/{id}", ("patch", "U"), "GET HEAD"),
        ("DELETE", "/{id}", ("delete", "D"), "GET HEAD"),
        ("GET", "/{id}/_history", ("history-instance", "E"), ""),
        ("GET", "/{id}/_history/1", ("vread", "R"), ""),
        ("GET", "/_history", ("history-type", "E"), ""),
    ],
)
def test_the_audit_is_only_read(
    event: tuple[Audited, Json], method: str, path: str, *, line: tuple[str, str], allow: str
) -> None:
    at, found = event
    url = AUDIT + path.format(id=found["id"])
    body = {"json": found} if method in {"POST", "PUT"} else {}
    answer = at.call(method, url, 405, (*line, "4", "AuditEvent"), **body)
    assert {one.strip() for one in answer.headers["allow"].split(",")} - {"", "OPTIONS"} == set(allow.split())
    assert at.left().items() >= at.expected.items()
    assert at.http.get(f"{AUDIT}/{found['id']}").json() == found


def test_the_audit_is_not_reached_from_inside_a_bundle(event: tuple[Audited, Json]) -> None:
    at, found = event
    for kind, status in (("transaction", 405), ("batch", 200)):
        inside = [{"request": {"method": "GET", "url": f"AuditEvent/{found['id']}"}}]
        answer: httpx.Response = at.http.post("/fhir", json={"resourceType": "Bundle", "type": kind, "entry": inside})
        assert answer.status_code == status
        assert "scanner room" not in answer.text
