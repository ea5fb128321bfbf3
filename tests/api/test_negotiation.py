"""What may be sent and asked for: checklist rows C5-C11, C16, W3, W5, W6 over real HTTP."""

import re

import httpx
import pytest

from service.api import media
from service.basics.errors import NotAcceptable
from tests.api.conftest import JSON

FHIR, PLAIN, TEXT = "application/fhir+json", "application/json", "text/json"


@pytest.mark.parametrize(
    ("accept", "format_", "kind"),
    [
        ("", "", FHIR),
        ("*/*", "", FHIR),
        ("application/*", "", FHIR),
        ("application/json", "", PLAIN),
        ("text/json", "", TEXT),
        ("application/fhir+json; fhirVersion=4.0", "", FHIR),
        ("application/fhir+xml, application/fhir+json;q=0.5", "", FHIR),
        ("application/json;q=0.9, application/fhir+json;q=0.2", "", PLAIN),
        ("text/html,application/xhtml+xml,*/*;q=0.8", "", FHIR),
        ("text/html", "json", FHIR),
        ("text/html", "application/json", PLAIN),
        ("text/html", "application/fhir json", FHIR),  # an unescaped plus
        ("application/fhir+xml", "", None),
        ("application/fhir+json; fhirVersion=5.0", "", None),
        ("application/fhir+json;q=0", "", None),
        ("application/fhir+json", "xml", None),
        ("text/html", "", None),
    ],
)
def test_c5_to_c11_the_type_of_an_answer(accept: str, format_: str, *, kind: str | None) -> None:
    if kind is None:
        with pytest.raises(NotAcceptable):
            media.answer_type(accept, format_)
    else:
        assert media.answer_type(accept, format_) == f"{kind}; charset=utf-8".encode()


def test_c7_406_is_told_in_json(rest: httpx.Client) -> None:
    answer = rest.get("/fhir/Patient/x", headers={"Accept": "application/fhir+xml"})
    assert answer.status_code == 406
    assert answer.json()["resourceType"] == "OperationOutcome"
    assert rest.get("/fhir/Patient?_format=xml").status_code == 406
    assert rest.get("/fhir/Patient?_format=json", headers={"Accept": "text/html"}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Content-Type": "text/plain"},
        {"Content-Type": "application/fhir+xml"},
        {"Content-Type": "multipart/form-data; boundary=x"},
        {"Content-Type": "application/fhir+json; charset=iso-8859-1"},
        {"Content-Type": "application/fhir+json; fhirVersion=5.0"},
        {"Content-Type": "application/fhir+json", "Content-Encoding": "gzip"},
        {"Content-Type": ""},
    ],
)
def test_c9_415_for_what_is_not_json_in_utf_8(rest: httpx.Client, headers: dict[str, str]) -> None:
    answer = rest.post("/fhir/Patient", content=b'{"resourceType":"Patient"}', headers=headers)
    assert answer.status_code == 415
    assert answer.json()["issue"][0]["code"] == "not-supported"
    assert rest.get("/fhir/Patient?_summary=count").json()["total"] == 0


@pytest.mark.parametrize("kind", ["application/fhir+json", "application/json;charset=UTF-8", "text/json"])
def test_every_name_of_json_is_taken(rest: httpx.Client, kind: str) -> None:
    answer = rest.post("/fhir/Patient", content=b'{"resourceType":"Patient"}', headers={"Content-Type": kind})
    assert answer.status_code == 201


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b'"Patient"',
        b"{}",
        b'{"resourceType":7}',
        b'{"resourceType":"Patient","active":true,"active":false}',
        b'{"resourceType":"Patient","x":NaN}',
        b'{"resourceType":"Patient","x":1e999}',
        b'{"resourceType":"Patient","x":"\\u0000"}',
        b'{"resourceType":"Patient","x":"\\ud800"}',
        b'{"resourceType":"Patient","x":"\xc0\xaf"}',
        '{"resourceType":"Patient"}'.encode("utf-16"),
        b'{"resourceType":"Patient","x":' + b"[" * 10_000 + b"]" * 10_000 + b"}",
        b"<Patient/>",
    ],
)
def test_w3_what_is_not_one_resource_is_400_and_nothing_is_stored(rest: httpx.Client, body: bytes) -> None:
    answer = rest.post("/fhir/Patient", content=body, headers=JSON)
    assert answer.status_code == 400
    assert answer.json()["resourceType"] == "OperationOutcome"
    assert rest.get("/fhir/Patient?_summary=count").json()["total"] == 0


def test_w6_a_body_of_another_type_is_400(rest: httpx.Client) -> None:
    answer = rest.post("/fhir/Patient", json={"resourceType": "Location"}, headers=JSON)
    assert answer.status_code == 400


def test_405_names_what_is_allowed(rest: httpx.Client) -> None:
    for method, path, allowed in [
        ("PATCH", "/fhir/Patient/x", {"GET", "HEAD", "PUT"}),
        ("DELETE", "/fhir/Observation/x", {"GET", "HEAD", "PUT"}),
        ("DELETE", "/fhir/Invoice?identifier=a|b", {"GET", "HEAD", "POST", "PUT"}),
        ("GET", "/fhir", {"POST"}),
        ("GET", "/fhir/Task/x/$finish", {"POST"}),
        ("POST", "/fhir/metadata", {"GET", "HEAD"}),
        ("OPTIONS", "/fhir/Patient/x", {"GET", "HEAD", "PUT"}),
        ("POST", "/livez", {"GET", "HEAD"}),
        ("POST", "/docs", {"GET", "HEAD"}),
    ]:
        answer = rest.request(method, path)
        assert answer.status_code == 405, (method, path)
        assert set(answer.headers["allow"].split(", ")) == allowed
        assert answer.json()["issue"][0]["code"] == "not-supported"


@pytest.mark.parametrize(
    "path", ["/", "/nothing", "/fhir/Patient/x/y", "/fhir/Patient/x/_history/1/2", "/fhir/Task/x/$no"]
)
def test_unknown_addresses_are_404_in_fhirs_words(rest: httpx.Client, path: str) -> None:
    answer = rest.post(path, json={"resourceType": "Parameters"}, headers=JSON)
    assert answer.status_code == 404
    assert answer.json()["resourceType"] == "OperationOutcome"


def test_c16_the_request_id_comes_back_or_a_new_one(rest: httpx.Client) -> None:
    assert rest.get("/fhir/Patient", headers={"X-Request-Id": "a.b-c_1:2"}).headers["x-request-id"] == "a.b-c_1:2"
    for harmful in ("x" * 65, "a b", "a\tb", "<script>", ""):
        given = rest.get("/fhir/Patient", headers={"X-Request-Id": harmful}).headers["x-request-id"]
        assert re.fullmatch(r"[0-9a-f-]{36}", given)


def test_answers_are_not_kept_by_those_between(rest: httpx.Client) -> None:
    answer = rest.get("/fhir/Patient")
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "server" not in answer.headers
