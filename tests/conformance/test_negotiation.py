"""C5-C13: the type of what is asked for and of what is sent."""

import httpx
import pytest

from tests.api.conftest import JSON
from tests.conformance.speaking import made, patient, refused, total

FHIR, PLAIN, TEXT = "application/fhir+json", "application/json", "text/json"
XML = "application/fhir+xml"


def kind(answer: httpx.Response) -> str:
    assert answer.status_code == 200, answer.text
    name, _, parameters = answer.headers["content-type"].partition(";")
    assert parameters.strip() == "charset=utf-8"
    return str(name)


def test_c5_fhirs_own_type(rest: httpx.Client) -> None:
    one = made(rest, patient(name=[{"text": "Zoë of Nowhere"}]))
    answer = rest.get(f"/fhir/Patient/{one['id']}", headers={"Accept": FHIR})
    assert kind(answer) == FHIR
    assert "Zoë".encode() in answer.content


@pytest.mark.parametrize("accept", [PLAIN, TEXT])
def test_c6_other_names_of_json(rest: httpx.Client, accept: str) -> None:
    url = f"/fhir/Patient/{made(rest, patient())['id']}"
    answer = rest.get(url, headers={"Accept": accept})
    assert kind(answer) == accept
    assert answer.content == rest.get(url).content


@pytest.mark.parametrize("accept", [XML, "text/html", "application/xml", f"{FHIR};q=0", "text/turtle"])
def test_c7_406_is_told_in_json(rest: httpx.Client, accept: str) -> None:
    answer = rest.get("/fhir/Patient", headers={"Accept": accept})
    refused(answer, 406, "not-supported")
    assert answer.headers["content-type"].startswith(FHIR)


def test_c8_format_goes_before_accept(rest: httpx.Client) -> None:
    page = {"Accept": "text/html"}
    for format_, expected in [("json", FHIR), (PLAIN, PLAIN), (FHIR.replace("+", "%2B"), FHIR), (FHIR, FHIR)]:
        assert kind(rest.get(f"/fhir/Patient?_format={format_}", headers=page)) == expected
    for format_ in ("xml", "html", "ttl", XML.replace("+", "%2B"), "nonsense"):
        refused(rest.get(f"/fhir/Patient?_format={format_}"), 406)
    sent = rest.post("/fhir/Patient?_format=json", content=b"<Patient/>", headers={"Content-Type": XML})
    refused(sent, 415)


@pytest.mark.parametrize(
    "headers",
    [
        {"Content-Type": "text/plain"},
        {"Content-Type": XML},
        {"Content-Type": "multipart/form-data; boundary=x"},
        {"Content-Type": f"{FHIR}; charset=iso-8859-1"},
        {"Content-Type": f"{FHIR}; fhirVersion=5.0"},
        {"Content-Type": FHIR, "Content-Encoding": "gzip"},
        {"Content-Type": ""},
    ],
)
def test_c9_415_for_what_is_not_json_in_utf_8(rest: httpx.Client, headers: dict[str, str]) -> None:
    answer = rest.post("/fhir/Patient", content=b'{"resourceType":"Patient"}', headers=headers)
    refused(answer, 415, "not-supported")
    assert total(rest) == 0


def test_c10_the_release_of_fhir_is_r4(rest: httpx.Client) -> None:
    for release in ("4.0", "4.0.1"):
        assert kind(rest.get("/fhir/Patient", headers={"Accept": f"{FHIR}; fhirVersion={release}"})) == FHIR
    for release in ("5.0", "3.0", "4.3"):
        refused(rest.get("/fhir/Patient", headers={"Accept": f"{FHIR}; fhirVersion={release}"}), 406)
    both = f"{FHIR}; fhirVersion=5.0, {PLAIN}; fhirVersion=4.0"
    assert kind(rest.get("/fhir/Patient", headers={"Accept": both})) == PLAIN


@pytest.mark.parametrize("accept", ["", "*/*", "application/*", "text/html,application/xhtml+xml,*/*;q=0.8"])
def test_c11_whoever_takes_anything_gets_json(rest: httpx.Client, accept: str) -> None:
    assert kind(rest.get("/fhir/Patient", headers={"Accept": accept})) == FHIR
    del rest.headers["Accept"]
    assert kind(rest.get("/fhir/Patient")) == FHIR


def test_c12_a_refusal_has_the_type_asked_for_too(rest: httpx.Client) -> None:
    for accept in (FHIR, PLAIN, TEXT):
        for path, status in [
            ("/fhir/Patient/nobody", 404),
            ("/fhir/Foo", 404),
            ("/nowhere", 404),
            ("/fhir/Patient?birthdate=x", 400),
        ]:
            answer = rest.get(path, headers={"Accept": accept})
            refused(answer, status)
            assert answer.headers["content-type"].partition(";")[0] == accept, path


def test_c13_xml_is_refused_everywhere(rest: httpx.Client) -> None:
    one = made(rest, patient())
    asks = {"Accept": XML}
    for path in ("", "?_count=1", f"/{one['id']}", f"/{one['id']}/_history", f"/{one['id']}/_history/1", "/nobody"):
        refused(rest.get(f"/fhir/Patient{path}", headers=asks), 406)
    refused(rest.get("/fhir/metadata", headers=asks), 406)
    refused(rest.post("/fhir/Patient", json=patient(), headers=JSON | asks), 406)
    assert total(rest) == 1
