"""C14-C19: how an answer looks, whose request it was, which pages may ask, and what an address is."""

import re

import httpx
import pytest

from tests.api import running
from tests.api.conftest import JSON
from tests.conformance.speaking import ORIGIN, made, patient, refused

PREFLIGHT = {"Origin": ORIGIN, "Access-Control-Request-Method": "PUT", "Access-Control-Request-Headers": "if-match"}


def test_c14_pretty_is_the_same_content(rest: httpx.Client) -> None:
    path = f"/fhir/Patient/{made(rest, patient(active=True))['id']}"
    pretty, plain = rest.get(f"{path}?_pretty=true"), rest.get(path)
    assert b'\n  "active": true' in pretty.content
    assert b"\n" not in plain.content
    assert pretty.json() == plain.json()
    assert rest.get(f"{path}?_pretty=false").content == plain.content
    assert b"\n" in rest.get("/fhir/Patient/nobody?_pretty=true").content


def test_c15_head_is_get_without_the_body(rest: httpx.Client) -> None:
    id_ = made(rest, patient())["id"]
    paths = [f"/Patient/{id_}", f"/Patient/{id_}/_history", f"/Patient/{id_}/_history/1", "/Patient", "/metadata"]
    for path in [*paths, "/Patient/_history", "/_history", "/Patient/nobody", "/Foo"]:
        read, head = rest.get(f"/fhir{path}"), rest.head(f"/fhir{path}")
        assert (head.status_code, head.content) == (read.status_code, b"")
        for name in ("etag", "last-modified", "content-type", "content-length"):
            assert head.headers.get(name) == read.headers.get(name), (path, name)
    nowhere = rest.head(f"/fhir/Patient/{id_}/$validate")
    assert nowhere.status_code == 405
    assert "HEAD" not in nowhere.headers["allow"]


def test_c16_the_request_id_comes_back_or_a_new_one_beside_it(rest: httpx.Client) -> None:
    ours = rest.get("/fhir/Patient", headers={"X-Request-Id": "a.b-c_1:2"})
    assert ours.headers["x-request-id"] == "a.b-c_1:2"
    assert "x-correlation-id" not in ours.headers
    for unfit in ("x" * 65, "a b", "<script>"):
        answer = rest.get("/fhir/Patient", headers={"X-Request-Id": unfit})
        assert re.fullmatch(r"[0-9a-f-]{36}", answer.headers["x-request-id"])
        assert answer.headers["x-correlation-id"] == unfit
    for harmful in ("a\tb", "x" * 256, ""):
        answer = rest.get("/fhir/Patient", headers={"X-Request-Id": harmful})
        assert re.fullmatch(r"[0-9a-f-]{36}", answer.headers["x-request-id"])
        assert "x-correlation-id" not in answer.headers


def test_c17_nothing_is_relayed_so_no_intermediary_is_named(rest: httpx.Client) -> None:
    one = made(rest, patient())
    path = f"/fhir/Patient/{one['id']}"
    through = rest.get(path, headers={"X-Intermediary": "anyone"})
    assert through.content == rest.get(path).content
    assert "x-intermediary" not in through.headers


def test_c18_a_page_of_a_listed_origin_may_ask_and_read(rest: httpx.Client, url: str) -> None:
    with running.client(url) as nobody:
        before = nobody.options("/fhir/Patient/x", headers=PREFLIGHT)
    assert before.status_code == 204
    assert before.headers["access-control-allow-origin"] == ORIGIN
    assert {"GET", "POST", "PUT", "PATCH", "DELETE"} <= set(before.headers["access-control-allow-methods"].split(", "))
    allowed = before.headers["access-control-allow-headers"].lower().split(", ")
    assert {"authorization", "content-type", "if-match", "if-none-exist", "prefer"} <= set(allowed)
    for path in ("/fhir/Patient", "/fhir/Patient/nobody", "/nowhere"):
        answer = rest.get(path, headers={"Origin": ORIGIN})
        assert answer.headers["access-control-allow-origin"] == ORIGIN
        assert "Origin" in answer.headers["vary"]
        shown = set(answer.headers["access-control-expose-headers"].split(", "))
        assert {"ETag", "Location", "Last-Modified", "Content-Location", "X-Request-Id"} <= shown


@pytest.mark.parametrize("origin", ["https://elsewhere.example", "null", f"{ORIGIN}.evil.example", ORIGIN.upper()])
def test_c18_a_page_from_elsewhere_is_told_nothing(rest: httpx.Client, origin: str) -> None:
    asked = rest.options("/fhir/Patient/x", headers=PREFLIGHT | {"Origin": origin})
    given = rest.get("/fhir/Patient", headers={"Origin": origin})
    for answer in (asked, given):
        assert not any(name.startswith("access-control-") for name in answer.headers)
        assert answer.headers["vary"] == "Origin"


def test_c18_options_names_the_methods(url: str) -> None:
    with running.client(url) as nobody:
        answer = nobody.options("/fhir/Patient/x")
        assert (answer.status_code, answer.content) == (204, b"")
        assert {"GET", "HEAD", "PUT", "OPTIONS"} <= set(answer.headers["allow"].split(", "))
        refused(nobody.options("/fhir/Foo/x"), 404, "not-supported")


def test_c19_addresses_are_case_sensitive_and_their_query_is_no_part_of_them(rest: httpx.Client) -> None:
    one = made(rest, patient())
    id_ = one["id"]
    for path in (f"/fhir/patient/{id_}", f"/fhir/PATIENT/{id_}", f"/FHIR/Patient/{id_}", f"/fhir/Patient/{id_}/"):
        refused(rest.get(path), 404)
    refused(rest.get(f"/fhir/Patient/{id_.upper()}X"), 404)
    mixed = rest.put(f"/fhir/Patient/{id_}?_format=json", json=one | {"active": True}, headers=JSON)
    assert mixed.status_code == 200
    assert rest.get(f"/fhir/Patient/{id_}?_pretty=true").json()["active"] is True
