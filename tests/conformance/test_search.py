"""S1-S11: how a search is asked, tokens, texts and what is missing."""

import json
from typing import Any

import httpx
import pytest

from tests.api.conftest import JSON
from tests.conformance.speaking import BASE, SYSTEM, found, ids, link, made, observation, patient, refused

FORM = {"Content-Type": "application/x-www-form-urlencoded"}


def test_s1_by_address_and_by_form_is_the_same(rest: httpx.Client) -> None:
    wanted, _ = made(rest, patient("a|b c+d")), made(rest, patient("other"))
    value = {"identifier": f"{SYSTEM}|a\\|b c+d"}
    got = rest.get("/fhir/Patient", params=value)
    posted = rest.post("/fhir/Patient/_search", data=value)
    mixed = rest.post("/fhir/Patient/_search?_count=5", data=value)
    twice = rest.post("/fhir/Patient/_search", params=value, data={"_id": wanted["id"]})
    none = rest.post("/fhir/Patient/_search", params=value, data={"_id": "nobody"})
    for answer in (got, posted, mixed, twice):
        assert ids(answer.json()) == [wanted["id"]]
    assert ids(none.json()) == []
    entry = got.json()["entry"][0]
    assert entry["search"]["mode"] == "match"
    assert entry["fullUrl"] == f"{BASE}/Patient/{wanted['id']}"
    assert entry["resource"] == wanted
    refused(rest.post("/fhir/Patient/_search", json={}, headers=JSON), 415)
    refused(rest.post("/fhir/Patient/_search", content=b"identifier=%ff", headers=FORM), 400)


def test_s2_the_self_link_says_what_was_used_and_can_be_followed(rest: httpx.Client) -> None:
    wanted = made(rest, patient("ä&b=c d"))
    query = {"identifier": f"{SYSTEM}|ä&b=c d", "_count": "3", "_format": "json", "colour": "blue"}
    first = rest.get("/fhir/Patient", params=query).json()
    own = link(first, "self")
    assert "_count=3" in own
    assert "colour" not in own
    assert ids(rest.get(own).json()) == [wanted["id"]]


@pytest.mark.parametrize("query", ["identifier:foo=x", "birthdate:foo=2026", "name:foo=x", "_id:foo=x"])
def test_s3_an_unknown_modifier_is_400(rest: httpx.Client, query: str) -> None:
    refused(rest.get(f"/fhir/Patient?{query}"), 400)


def test_s4_an_unknown_parameter_is_ignored_aloud_or_refused(rest: httpx.Client) -> None:
    one = made(rest, patient())
    query = f"/fhir/Patient?colour=blue&_id={one['id']}"
    for lenient in ({}, {"Prefer": "handling=lenient"}):
        loud = rest.get(query, headers=lenient)
        assert loud.status_code == 200
        assert "colour" not in link(loud.json(), "self")
        told = [e["resource"] for e in loud.json()["entry"] if e["search"]["mode"] == "outcome"]
        assert "colour" in json.dumps(told)
    refused(rest.get(query, headers={"Prefer": "handling=strict"}), 400)


@pytest.mark.parametrize(
    "query", ["birthdate=23 May", "birthdate=2026-13", "_count=-1", "_count=x", "_sort=colour", "_page=!", "%ff=1"]
)
def test_s5_a_value_that_is_none_is_400(rest: httpx.Client, query: str) -> None:
    refused(rest.get(f"/fhir/Patient?{query}"), 400)


def test_s6_nothing_found_is_an_empty_bundle(rest: httpx.Client) -> None:
    for query in ("Patient?identifier=urn:x|none", "Observation?subject=Patient/nobody", "Observation?code=urn:x|y"):
        answer = rest.get(f"/fhir/{query}").json()
        assert (answer["type"], answer["total"]) == ("searchset", 0)
        assert "entry" not in answer


def test_s7_an_empty_parameter_is_ignored(rest: httpx.Client) -> None:
    one = made(rest, patient())
    answer = rest.get("/fhir/Patient?identifier=&birthdate=").json()
    assert ids(answer) == [one["id"]]


def test_s8_an_id_is_exact(rest: httpx.Client) -> None:
    one, other = made(rest, patient()), made(rest, patient())
    assert found(rest, f"Patient?_id={one['id']}") == [one["id"]]
    assert found(rest, f"Patient?_id={one['id'].upper()}X") == []
    assert found(rest, f"Patient?_id={one['id'][:-1]}") == []
    assert set(found(rest, f"Patient?_id={one['id']},{other['id']}")) == {one["id"], other["id"]}


@pytest.fixture
def coded(rest: httpx.Client) -> dict[str, str]:
    """The ids of four Observations: code a of our system, a without system, b of our system, and one of text alone."""
    kinds: dict[str, dict[str, Any]] = {
        "a": {"coding": [{"system": SYSTEM, "code": "a", "display": "Alpha thing"}]},
        "bare": {"coding": [{"code": "a"}]},
        "b": {"coding": [{"system": SYSTEM, "code": "b"}]},
        "text": {"text": "words alone"},
    }
    return {name: made(rest, observation(code=code))["id"] for name, code in kinds.items()}


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("code=a", {"a", "bare"}),
        (f"code={SYSTEM}|a", {"a"}),
        ("code=|a", {"bare"}),
        (f"code={SYSTEM}|a,{SYSTEM}|b", {"a", "b"}),
        (f"code:not={SYSTEM}|a", {"bare", "b", "text"}),
        ("status:not=final", set()),
        ("interpretation:not=H", {"a", "bare", "b", "text"}),
        (f"code={SYSTEM}|", {"a", "b"}),
        ("code:text=alpha", {"a"}),
        ("code:text=words", {"text"}),
    ],
)
def test_s9_tokens(rest: httpx.Client, coded: dict[str, str], query: str, *, expected: set[str]) -> None:
    assert set(found(rest, f"Observation?{query}")) == {coded[name] for name in expected}


def test_s9_an_identifier_of_a_type(rest: httpx.Client) -> None:
    kind = {"coding": [{"system": "http://terminology.hl7.org/CodeSystem/v2-0203", "code": "MCN"}]}
    one = made(rest, patient(identifier=[{"type": kind, "system": SYSTEM, "value": "1"}]))
    made(rest, patient("1"))
    system = "http://terminology.hl7.org/CodeSystem/v2-0203"
    assert found(rest, f"Patient?identifier:of-type={system}|MCN|1") == [one["id"]]
    assert found(rest, f"Patient?identifier:of-type={system}|MCN|2") == []
    refused(rest.get("/fhir/Patient?identifier:of-type=MCN"), 400)


def test_s9_codes_of_a_value_set_of_ours(rest: httpx.Client) -> None:
    plane = rest.get("/fhir/ValueSet/plane").json()["url"]
    one, other = (
        made(rest, observation(code={"coding": [{"system": system, "code": "long"}]}))
        for system in (plane.replace("/ValueSet/", "/CodeSystem/"), "urn:elsewhere")
    )
    for name in (plane, "ValueSet/plane", f"{plane}|{rest.get('/fhir/ValueSet/plane').json()['version']}"):
        assert found(rest, f"Observation?code:in={name}") == [one["id"]]
        assert found(rest, f"Observation?code:not-in={name}") == [other["id"]]
    species = "ValueSet/species"  # codes one by one, of a system that is not ours
    code = rest.get(f"/fhir/{species}").json()["compose"]["include"][0]
    dog = {"coding": [{"system": code["system"], "code": code["concept"][0]["code"]}]}
    assert found(rest, f"Observation?code:in={species}") == []
    third = made(rest, observation(code=dog))
    assert found(rest, f"Observation?code:in={species}") == [third["id"]]
    assert sorted(found(rest, f"Observation?code:in={species},{plane}")) == sorted([one["id"], third["id"]])


def test_s9_codes_below_and_above(rest: httpx.Client) -> None:
    """As our CodeSystems group them: a kidney is the left or the right one."""
    system = rest.get("/fhir/CodeSystem/structure").json()["url"]
    either, left, right, spleen = (
        made(rest, observation(code={"coding": [{"system": system, "code": code}]}))["id"]
        for code in ("kidneys", "kidney_left", "kidney_right", "spleen")
    )
    assert sorted(found(rest, f"Observation?code:below={system}|kidneys")) == sorted([either, left, right])
    assert sorted(found(rest, f"Observation?code:above={system}|kidney_left")) == sorted([either, left])
    assert found(rest, f"Observation?code:below={system}|spleen") == [spleen]
    assert found(rest, f"Observation?code:below={system}|nonsense") == []
    report = {"resourceType": "DiagnosticReport", "status": "final", "code": {"text": "x"}}
    named = made(rest, report | {"result": [{"reference": f"Observation/{left}"}]})
    assert found(rest, f"DiagnosticReport?result.code:below={system}|kidneys") == [named["id"]]


def test_s9_what_needs_a_terminology_server_is_refused(rest: httpx.Client) -> None:
    ours = rest.get("/fhir/ValueSet/plane").json()["url"]
    elsewhere = "http://elsewhere.example/ValueSet/x"
    for wrong in (f"code:in={elsewhere}", f"code:not-in={elsewhere}", f"code:in={ours}|0", "code:in=plane"):
        refused(rest.get(f"/fhir/Observation?{wrong}"), 400)
    for modifier in ("above", "below"):
        for value in ("http://loinc.org|24558-9", "24558-9", "|x"):
            refused(rest.get(f"/fhir/Observation?code:{modifier}={value}"), 400)
    refused(rest.get(f"/fhir/Observation?status:in={ours}"), 400)
    refused(rest.get(f"/fhir/Patient?identifier:below={ours}|x"), 400)


@pytest.mark.parametrize(
    ("query", "count"),
    [
        ("name=zoe", 1),
        ("name=ZO", 1),
        ("name=oe", 0),
        ("name:exact=Zoë", 1),
        ("name:exact=zoë", 0),
        ("name=zoe,adam", 2),
        ("name:contains=OE", 1),
        ("name:contains=dam", 1),
    ],
)
def test_s10_texts_begin_alike_whatever_their_case_and_accents(rest: httpx.Client, query: str, *, count: int) -> None:
    made(rest, patient(name=[{"given": ["Zoë"]}]))
    made(rest, patient(name=[{"given": ["Adam"]}]))
    assert len(found(rest, f"Patient?{query}")) == count


@pytest.mark.parametrize("parameter", ["identifier", "birthdate", "name", "general-practitioner"])
def test_s11_what_is_missing_can_be_asked(rest: httpx.Client, parameter: str) -> None:
    full = patient("a", birthDate="2020", name=[{"text": "x"}], generalPractitioner=[{"reference": "Organization/x"}])
    has, lacks = made(rest, full)["id"], made(rest, patient())["id"]
    assert found(rest, f"Patient?{parameter}:missing=true") == [lacks]
    assert found(rest, f"Patient?{parameter}:missing=false") == [has]
    refused(rest.get(f"/fhir/Patient?{parameter}:missing=perhaps"), 400)
