"""Search and history as Bundles: matches, links, paging while others write."""

import json
from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest

from tests.api.conftest import JSON

Post = Callable[..., dict[str, Any]]
FORM = {"Content-Type": "application/x-www-form-urlencoded"}


def named(stored: Post, value: str) -> dict[str, Any]:
    return stored(identifier=[{"system": "urn:invented", "value": value}])


def link(bundle: dict[str, Any], relation: str) -> str:
    return str(next((one["url"] for one in bundle["link"] if one["relation"] == relation), ""))


def pages(rest: httpx.Client, url: str, between: Callable[[], object] = lambda: None) -> Iterator[dict[str, Any]]:
    while url:
        page = rest.get(url.replace("http://sonoledger.example", ""))
        assert page.status_code == 200, page.text
        yield page.json()
        url = link(page.json(), "next")
        between()


def ids(bundle: dict[str, Any]) -> list[str]:
    return [one["resource"]["id"] for one in bundle.get("entry", [])]


def test_a_search_by_url_and_by_form_is_the_same(rest: httpx.Client, stored: Post) -> None:
    wanted, _ = named(stored, "a|b c+d"), named(stored, "other")
    value = "urn:invented|a\\|b c+d"
    got = rest.get("/fhir/Patient", params={"identifier": value})
    posted = rest.post("/fhir/Patient/_search", data={"identifier": value})
    mixed = rest.post("/fhir/Patient/_search?_count=5", data={"identifier": value})
    assert ids(got.json()) == ids(posted.json()) == ids(mixed.json()) == [wanted["id"]]
    assert got.json()["total"] == 1
    assert got.json()["entry"][0]["search"] == {"mode": "match"}
    assert got.json()["entry"][0]["fullUrl"] == f"http://sonoledger.example/fhir/Patient/{wanted['id']}"
    assert got.json()["entry"][0]["resource"] == wanted


def test_the_self_link_can_be_followed(rest: httpx.Client, stored: Post) -> None:
    wanted = named(stored, "ä&b=c d")
    first = rest.get("/fhir/Patient", params={"identifier": "urn:invented|ä&b=c d", "_count": "3", "_format": "json"})
    again = rest.get(link(first.json(), "self").replace("http://sonoledger.example", ""))
    assert ids(again.json()) == [wanted["id"]]
    assert "_count=3" in link(first.json(), "self")


def test_an_unknown_parameter_is_ignored_aloud_or_refused(rest: httpx.Client, stored: Post) -> None:
    one = stored()
    loud = rest.get("/fhir/Patient", params={"colour": "blue", "_id": one["id"]})
    assert loud.status_code == 200
    assert "colour" not in link(loud.json(), "self")
    modes = [entry["search"]["mode"] for entry in loud.json()["entry"]]
    assert modes == ["match", "outcome"]
    assert "colour" in json.dumps(loud.json()["entry"][1]["resource"])
    strict = rest.get("/fhir/Patient?colour=blue", headers={"Prefer": "handling=strict"})
    assert strict.status_code == 400


@pytest.mark.parametrize(
    "query",
    [
        "birthdate=23 May",
        "identifier:foo=x",
        "_count=-1",
        "_count=x",
        "_sort=colour",
        "_page=!",
        "_page=x&_page=y",
        "%ff=1",
    ],
)
def test_what_is_not_understood_is_400(rest: httpx.Client, query: str) -> None:
    answer = rest.get(f"/fhir/Patient?{query}")
    assert answer.status_code == 400, answer.text


def test_nothing_found_is_an_empty_bundle(rest: httpx.Client) -> None:
    answer = rest.get("/fhir/Patient?identifier=urn:x|none&birthdate=")
    assert answer.status_code == 200
    assert answer.json()["total"] == 0
    assert "entry" not in answer.json()


def test_count_0_and_summary_count_give_only_the_total(rest: httpx.Client, stored: Post) -> None:
    for _ in range(3):
        stored()
    for query in ("_count=0", "_summary=count"):
        found = rest.get(f"/fhir/Patient?{query}").json()
        assert found["total"] == 3
        assert "entry" not in found
        assert link(found, "next") == ""


def test_each_match_exactly_once_while_others_write(rest: httpx.Client, stored: Post) -> None:
    before = [stored()["id"] for _ in range(7)]

    def meanwhile() -> None:
        stored()

    seen = [one for page in pages(rest, "/fhir/Patient?_count=2", meanwhile) for one in ids(page)]
    assert [one for one in seen if one in before] == before[::-1]
    assert len(seen) == len(set(seen))


def test_a_posted_search_is_a_form(rest: httpx.Client) -> None:
    assert rest.post("/fhir/Patient/_search", json={}, headers=JSON).status_code == 415
    assert rest.post("/fhir/Patient/_search", content=b"identifier=%ff", headers=FORM).status_code == 400
    assert rest.post("/fhir/Patient/_search", content=b"\xff", headers=FORM).status_code == 400
