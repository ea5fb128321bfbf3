"""R1-R5: one resource, one version, only when it changed, or only a part of it."""

import httpx
import pytest

from service.store import SqlBooks
from tests.api import twins
from tests.api.conftest import JSON
from tests.conformance.speaking import made, observation, path_of, patient, put, refused


def test_r1_a_read_answers_the_stored_bytes_with_etag_and_date(rest: httpx.Client) -> None:
    body = b'{"resourceType":"Observation","status":"final","code":{"text":"x"},"valueQuantity":{"value":0.40}}'
    posted = rest.post("/fhir/Observation", content=body, headers=JSON)
    assert posted.status_code == 201
    read = rest.get(path_of(posted))
    assert read.status_code == 200
    assert read.content == posted.content
    assert b'"value":0.40' in read.content
    assert read.json()["id"] == posted.json()["id"]
    assert read.headers["etag"] == 'W/"1"'
    assert read.headers["last-modified"].endswith(" GMT")
    assert read.json()["meta"]["versionId"] == "1"


def test_r2_unknown_is_404_and_deleted_is_410(rest: httpx.Client, module_books: SqlBooks, organization_of: str) -> None:
    refused(rest.get("/fhir/Patient/nobody"), 404, "not-found")
    one = made(rest, patient())
    twins.erase(module_books, organization_of, "Patient", id_=one["id"])
    refused(rest.get(f"/fhir/Patient/{one['id']}"), 410, "deleted")


@pytest.mark.parametrize("id_", ["a b", "a%00b", "a%0A", "x" * 65, "ä", "a_b", "%2e%2e%2fx"])
def test_r2_ids_that_cannot_be_are_not_there(rest: httpx.Client, id_: str) -> None:
    refused(rest.get(f"/fhir/Patient/{id_}"), 404)


def test_r3_every_version_can_be_read(rest: httpx.Client, module_books: SqlBooks, organization_of: str) -> None:
    one = made(rest, patient(active=True))
    url = f"/fhir/Patient/{one['id']}"
    assert put(rest, patient(active=False, id=one["id"])).headers["etag"] == 'W/"2"'
    assert rest.get(f"{url}/_history/1").json() == one
    second = rest.get(f"{url}/_history/2")
    assert second.json()["active"] is False
    assert second.headers["etag"] == 'W/"2"'
    for unknown in ("3", "0", "-1", "x", "9999999999999"):
        refused(rest.get(f"{url}/_history/{unknown}"), 404)
    twins.erase(module_books, organization_of, "Patient", id_=one["id"])
    refused(rest.get(f"{url}/_history/3"), 410, "deleted")
    assert rest.get(f"{url}/_history/1").json() == one


@pytest.mark.parametrize(
    ("header", "value", "status"),
    [
        ("If-None-Match", 'W/"1"', 304),
        ("If-None-Match", '"1"', 304),
        ("If-None-Match", 'W/"7", W/"1"', 304),
        ("If-None-Match", "*", 304),
        ("If-None-Match", 'W/"2"', 200),
        ("If-None-Match", "garbage", 200),
        ("If-Modified-Since", "Thu, 01 Jan 2099 00:00:00 GMT", 304),
        ("If-Modified-Since", "Thu, 01 Jan 1998 00:00:00 GMT", 200),
        ("If-Modified-Since", "never", 200),
    ],
)
def test_r4_who_holds_the_version_is_told_so(rest: httpx.Client, header: str, value: str, *, status: int) -> None:
    answer = rest.get(f"/fhir/Patient/{made(rest, patient())['id']}", headers={header: value})
    assert answer.status_code == status
    assert answer.headers["etag"] == 'W/"1"'
    assert bool(answer.content) is (status == 200)


def test_r4_its_own_date_is_enough(rest: httpx.Client) -> None:
    path = f"/fhir/Patient/{made(rest, patient())['id']}"
    date = rest.get(path).headers["last-modified"]
    assert rest.get(path, headers={"If-Modified-Since": date}).status_code == 304
    both = {"If-Modified-Since": date, "If-None-Match": 'W/"9"'}
    assert rest.get(path, headers=both).status_code == 200  # RFC 9110, 13.2.2: If-None-Match decides alone


WHOLE = observation(
    text={"status": "generated", "div": '<div xmlns="http://www.w3.org/1999/xhtml">An invented text</div>'},
    valueString="an invented value",
)


@pytest.mark.parametrize(
    ("query", "has", "lacks"),
    [
        ("_summary=text", {"id", "meta", "text", "status", "code"}, {"valueString"}),
        ("_summary=data", {"id", "meta", "status", "code", "valueString"}, {"text"}),
        ("_summary=true", {"id", "meta", "status", "code", "valueString"}, {"text"}),
        ("_elements=id,status", {"id", "meta", "status", "code"}, {"valueString", "text"}),
    ],
)
def test_r5_a_part_of_a_resource_says_so(rest: httpx.Client, query: str, has: set[str], *, lacks: set[str]) -> None:
    one = made(rest, WHOLE)
    answer = rest.get(f"/fhir/Observation/{one['id']}?{query}")
    assert answer.status_code == 200
    part = answer.json()
    assert has <= part.keys()
    assert not lacks & part.keys()
    assert "SUBSETTED" in {tag["code"] for tag in part["meta"]["tag"]}
    refused(put(rest, part, match=1), 422)
    assert rest.get(f"/fhir/Observation/{one['id']}?_summary=false").json() == one
