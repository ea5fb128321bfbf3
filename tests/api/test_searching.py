"""What a search brings along, of which part, in which compartment, and for how long its links are good."""

from collections.abc import Callable
from typing import Any

import httpx
import pytest

from service.api import links
from service.basics.errors import Gone, Invalid
from tests.api.conftest import JSON, Place

Post = Callable[..., dict[str, Any]]


def made(rest: httpx.Client, type_: str, **more: object) -> dict[str, Any]:
    answer = rest.post(f"/fhir/{type_}", json={"resourceType": type_, **more}, headers=JSON)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def observation(rest: httpx.Client, subject: str, **more: object) -> dict[str, Any]:
    return made(
        rest, "Observation", **{"status": "final", "code": {"text": "x"}, "subject": {"reference": subject}} | more
    )


def ask(rest: httpx.Client, path: str, **params: str | list[str]) -> dict[str, Any]:
    answer = rest.get(f"/fhir{path}", params=params)
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def by_mode(bundle: dict[str, Any], mode: str) -> list[str]:
    return [e["resource"].get("id", "") for e in bundle.get("entry", []) if e["search"]["mode"] == mode]


def address(bundle: dict[str, Any], relation: str) -> str:
    found = [one["url"] for one in bundle["link"] if one["relation"] == relation]
    return found[0].replace("http://sonoledger.example", "") if found else ""


def test_what_comes_along_comes_once(rest: httpx.Client, stored: Post) -> None:
    vet = made(rest, "Practitioner")
    animal = stored(generalPractitioner=[{"reference": f"Practitioner/{vet['id']}"}])
    seen = [observation(rest, f"Patient/{animal['id']}") for _ in range(2)]
    member = observation(rest, f"Patient/{animal['id']}", hasMember=[{"reference": f"Observation/{seen[0]['id']}"}])
    found = ask(rest, "/Observation", _include=["Observation:subject", "Observation:has-member"])
    assert sorted(by_mode(found, "match")) == sorted(one["id"] for one in (*seen, member))
    assert by_mode(found, "include") == [animal["id"]]
    assert found["total"] == 3
    further = ask(
        rest, "/Observation", **{"_include": "Observation:subject", "_include:iterate": "Patient:general-practitioner"}
    )
    assert sorted(by_mode(further, "include")) == sorted([animal["id"], vet["id"]])
    not_further = ask(rest, "/Observation", _include=["Observation:subject", "Patient:general-practitioner"])
    assert by_mode(not_further, "include") == [animal["id"]]
    back = ask(rest, "/Patient", _revinclude="Observation:subject", _count="1")
    assert sorted(by_mode(back, "include")) == sorted(one["id"] for one in (*seen, member))
    other = ask(rest, "/Observation", _include="Observation:subject:Device")
    assert by_mode(other, "include") == []


def test_nothing_comes_along_that_the_token_may_not_read(
    place: Place, rest: httpx.Client, name: str, stored: Post
) -> None:
    animal = stored()
    seen = observation(rest, f"Patient/{animal['id']}")
    with place.client(place.token(name, "system/Observation.rs")) as narrow:
        found = ask(narrow, "/Observation", _include="Observation:subject")
        back = ask(narrow, "/Observation", _revinclude="Provenance:target")
    assert by_mode(found, "match") == by_mode(back, "match") == [seen["id"]]
    assert by_mode(found, "include") == []
    assert animal["id"] not in str([e for e in found["entry"] if e["search"]["mode"] == "outcome"])
    for bundle, type_ in ((found, "Patient"), (back, "Provenance")):
        said = next(e["resource"] for e in bundle["entry"] if e["search"]["mode"] == "outcome")
        assert f"may not read {type_}" in said["issue"][0]["details"]["text"]


def test_nothing_comes_along_from_elsewhere(place: Place, rest: httpx.Client, stored: Post) -> None:
    with place.client(place.token("strangers-of-includes")) as other:
        theirs = made(other, "Patient")
        observation(other, "Patient/unknown")
    observation(rest, f"Patient/{theirs['id']}")
    observation(rest, "https://elsewhere.example/fhir/Patient/1")
    found = ask(rest, "/Observation", _include="Observation:subject")
    assert by_mode(found, "include") == []
    assert len(by_mode(found, "match")) == 2


def test_a_part_of_what_was_found_keeps_every_digit(rest: httpx.Client, stored: Post) -> None:
    text = (
        '{"resourceType":"Observation","status":"final","code":{"text":"x"},"note":[{"text":"n"}],'
        '"valueQuantity":{"value":0.40,"unit":"mm"},"referenceRange":[{"low":{"value":1.00}}],'
        '"component":[{"code":{"text":"y"},"valueQuantity":{"value":7.0},"interpretation":[{"text":"i"}]}]}'
    )
    one = rest.post("/fhir/Observation", content=text, headers=JSON).json()["id"]
    for url in (f"/fhir/Observation?_id={one}", f"/fhir/Observation/{one}?"):
        short = rest.get(f"{url}&_summary=true").text
        assert '"value":0.40' in short
        assert '"value":7.0' in short
        assert "SUBSETTED" in short
        assert not any(word in short for word in ("referenceRange", "interpretation", '"note"'))
        chosen = rest.get(f"{url}&_elements=note").text
        assert '"note"' in chosen
        assert "valueQuantity" not in chosen
        assert '"status":"final"' in chosen
    assert rest.get(f"/fhir/Observation/{one}?_elements=colour").status_code == 400
    assert "SUBSETTED" not in rest.get(f"/fhir/Observation/{one}").text
    assert "referenceRange" in rest.get(f"/fhir/Observation/{one}?_summary=data").text


def test_a_compartment_holds_what_its_parameters_say(rest: httpx.Client, stored: Post) -> None:
    animal, other = stored(), stored()
    seen = observation(rest, f"Patient/{animal['id']}")
    observation(rest, f"Patient/{other['id']}")
    performed = observation(rest, f"Patient/{other['id']}", performer=[{"reference": f"Patient/{animal['id']}"}])
    found = ask(rest, f"/Patient/{animal['id']}/Observation")
    assert sorted(by_mode(found, "match")) == sorted([seen["id"], performed["id"]])
    assert address(found, "self") == f"/fhir/Patient/{animal['id']}/Observation"
    posted = rest.post(f"/fhir/Patient/{animal['id']}/Observation/_search", data={"subject": f"Patient/{animal['id']}"})
    assert by_mode(posted.json(), "match") == [seen["id"]]
    first = ask(rest, f"/Patient/{animal['id']}/Observation", _count="1")
    rest_of = rest.get(address(first, "next")).json()
    assert len({*by_mode(first, "match"), *by_mode(rest_of, "match")}) == 2
    vet = made(rest, "Practitioner")  # R4: a practitioner is part of his own compartment
    assert by_mode(ask(rest, f"/Practitioner/{vet['id']}/Practitioner"), "match") == [vet["id"]]
    for nothing in ("Endpoint", "Colour", "AuditEvent", "$colour"):
        assert rest.get(f"/fhir/Patient/{animal['id']}/{nothing}").status_code in (404, 405), nothing


def test_all_types_are_searched_at_once(place: Place, rest: httpx.Client, name: str, stored: Post) -> None:
    tagged = {"meta": {"tag": [{"system": "urn:x", "code": "this"}]}}
    animal, vet = stored(**tagged), made(rest, "Practitioner", **tagged)
    stored()
    found = ask(rest, "/", _tag="urn:x|this")
    assert by_mode(found, "match") == [vet["id"], animal["id"]]
    assert found["total"] == 2
    assert by_mode(ask(rest, "/", _type="Patient,Observation", _tag="this"), "match") == [animal["id"]]
    assert by_mode(rest.post("/fhir/_search", data={"_tag": "this"}).json(), "match") == [vet["id"], animal["id"]]
    for wrong in ("_type=Colour", "_type=Patient,Observation&birthdate=2020"):
        assert rest.get(f"/fhir/?{wrong}").status_code == 400, wrong
    with place.client(place.token(name, "system/Patient.rs")) as narrow:
        assert narrow.get("/fhir/?_tag=this").status_code == 403
        assert by_mode(ask(narrow, "/", _type="Patient", _tag="this"), "match") == [animal["id"]]


def test_a_link_is_good_for_its_organisation_and_its_search(place: Place, rest: httpx.Client, stored: Post) -> None:
    for _ in range(3):
        stored()
    following = address(ask(rest, "/Patient", _count="1"), "next")
    assert rest.get(following).status_code == 200
    assert rest.get(following.replace("_count=1", "_count=2")).status_code == 400
    with place.client(place.token("strangers-of-links")) as other:
        assert other.get(following).status_code == 400


def test_a_link_expires() -> None:
    used = [("code", "x")]
    fresh = links.bound("abc", "vet", "/Patient", used)
    assert links.unbound(fresh, "vet", "/Patient", used) == "abc"
    assert links.bound("", "vet", "/Patient", used) == ""
    old = links.bound("abc", "vet", "/Patient", used, now=1_000_000)
    with pytest.raises(Gone):
        links.unbound(old, "vet", "/Patient", used)
    for wrong in (fresh[:-1], f"0{fresh}", "x", "a.b", "a.zz.c"):
        with pytest.raises(Invalid):
            links.unbound(wrong, "vet", "/Patient", used)
