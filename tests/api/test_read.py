"""Read, vread and their conditions, over real HTTP on both engines. Ids of rows (R1 ...) as in R4's RESTful API."""

from collections.abc import Callable
from typing import Any

import httpx
import pytest

from tests.api import twins
from tests.api.conftest import JSON, Place

Post = Callable[..., dict[str, Any]]


def test_r1_a_read_answers_the_stored_bytes_with_etag_and_date(rest: httpx.Client) -> None:
    body = b'{"resourceType":"Observation","status":"final","code":{"text":"x"},"valueQuantity":{"value":0.40}}'
    made = rest.post("/fhir/Observation", content=body, headers=JSON)
    assert made.status_code == 201
    read = rest.get(made.headers["location"].partition("sonoledger.example")[2].partition("/_history")[0])
    assert read.status_code == 200
    assert read.content == made.content
    assert b'"value":0.40' in read.content
    assert read.headers["etag"] == 'W/"1"'
    assert read.headers["last-modified"].endswith(" GMT")
    assert read.headers["content-type"].startswith("application/fhir+json")
    assert read.json()["meta"]["versionId"] == "1"


def test_r2_unknown_is_404_and_deleted_is_410(rest: httpx.Client, stored: Post, place: Place, name: str) -> None:
    assert rest.get("/fhir/Patient/nobody").status_code == 404
    one = stored()
    twins.erase(place.books, name, "Patient", id_=one["id"])
    gone = rest.get(f"/fhir/Patient/{one['id']}")
    assert gone.status_code == 410
    assert gone.json()["issue"][0]["code"] == "deleted"


def test_r3_every_version_can_be_read(rest: httpx.Client, stored: Post, place: Place, name: str) -> None:
    one = stored(active=True)
    url = f"/fhir/Patient/{one['id']}"
    changed = rest.put(url, json={"resourceType": "Patient", "id": one["id"], "active": False}, headers=JSON)
    assert changed.status_code == 200
    assert changed.headers["etag"] == 'W/"2"'
    assert rest.get(f"{url}/_history/1").json()["active"] is True
    assert rest.get(f"{url}/_history/2").json()["active"] is False
    for unknown in ("3", "0", "-1", "x", "9999999999999"):
        assert rest.get(f"{url}/_history/{unknown}").status_code == 404
    twins.erase(place.books, name, "Patient", id_=one["id"])
    assert rest.get(f"{url}/_history/3").status_code == 410


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
def test_r4_a_reader_who_holds_the_version_is_told_so(
    rest: httpx.Client, stored: Post, *, header: str, value: str, status: int
) -> None:
    answer = rest.get(f"/fhir/Patient/{stored()['id']}", headers={header: value})
    assert answer.status_code == status
    assert answer.headers["etag"] == 'W/"1"'
    assert bool(answer.content) is (status == 200)


def test_c15_head_is_get_without_the_body(rest: httpx.Client, stored: Post) -> None:
    url = f"/fhir/Patient/{stored()['id']}"
    read, head = rest.get(url), rest.head(url)
    assert head.status_code == 200
    assert head.content == b""
    for name in ("etag", "last-modified", "content-type", "content-length"):
        assert head.headers[name] == read.headers[name]
    assert rest.head("/fhir/Patient/nobody").status_code == 404


def test_c14_pretty_is_the_same_content(rest: httpx.Client, stored: Post) -> None:
    url = f"/fhir/Patient/{stored()['id']}"
    pretty = rest.get(url, params={"_pretty": "true"})
    assert b"\n" in pretty.content
    assert pretty.json() == rest.get(url).json()


@pytest.mark.parametrize("id_", ["a b", "a%00b", "a%0A", "x" * 65, "ä", "a_b", "%2e%2e%2fx"])
def test_ids_that_cannot_be_are_not_there(rest: httpx.Client, id_: str) -> None:
    assert rest.get(f"/fhir/Patient/{id_}").status_code == 404


def test_c19_types_are_case_sensitive_and_known(rest: httpx.Client, stored: Post) -> None:
    id_ = stored()["id"]
    for path in (f"/fhir/patient/{id_}", f"/fhir/Foo/{id_}", "/fhir/Foo", f"/FHIR/Patient/{id_}"):
        answer = rest.get(path)
        assert answer.status_code == 404
        assert answer.json()["resourceType"] == "OperationOutcome"


def test_another_organisation_sees_nothing(place: Place, stored: Post) -> None:
    one = stored()
    with place.client(place.token("records-of-others")) as other:
        foreign = other.get(f"/fhir/Patient/{one['id']}")
        unknown = other.get("/fhir/Patient/018f2c50-0000-7000-8000-000000000000")
        assert foreign.status_code == unknown.status_code == 404
        assert foreign.text.replace(str(one["id"]), "") == unknown.text.replace(
            "018f2c50-0000-7000-8000-000000000000", ""
        )
        assert other.get("/fhir/Patient").json().get("entry", []) == []
        assert other.get(f"/fhir/Patient/{one['id']}/_history").status_code == 404
        assert other.get(f"/fhir/Patient/{one['id']}/_history/1").status_code == 404
