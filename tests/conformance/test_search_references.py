"""S24 and S25: what belongs to an animal, and the names of a reference."""

import httpx

from tests.conformance.speaking import BASE, SYSTEM, found, made, observation, of, patient


def test_s24_what_belongs_to_an_animal(rest: httpx.Client) -> None:
    dog, cat = made(rest, patient()), made(rest, patient())
    wanted, _ = made(rest, observation(subject=of(dog))), made(rest, observation(subject=of(cat)))
    invoice = made(rest, {"resourceType": "Invoice", "status": "draft", "subject": of(dog)})
    assert found(rest, f"Patient/{dog['id']}/Observation") == [wanted["id"]]
    assert found(rest, f"Patient/{dog['id']}/Observation?status=amended") == []
    assert found(rest, f"Patient/{dog['id']}/Invoice") == [invoice["id"]]
    for outside in ("Organization", "Endpoint", "Device"):
        assert rest.get(f"/fhir/Patient/{dog['id']}/{outside}").status_code in {400, 404}


def test_s25_a_reference_by_any_of_its_names(rest: httpx.Client) -> None:
    dog, cat = made(rest, patient()), made(rest, patient())
    wanted, _ = made(rest, observation(subject=of(dog)))["id"], made(rest, observation(subject=of(cat)))
    id_ = dog["id"]
    for same in (f"subject=Patient/{id_}", f"subject={id_}", f"subject={BASE}/Patient/{id_}", f"patient={id_}"):
        assert found(rest, f"Observation?{same}") == [wanted]
    assert found(rest, f"Observation?subject:Patient={id_}") == [wanted]
    assert found(rest, f"Observation?subject=https://other.example/fhir/Patient/{id_}") == []
    foreign = made(rest, observation(subject={"reference": f"https://other.example/fhir/Patient/{id_}"}))["id"]
    assert found(rest, f"Observation?subject=https://other.example/fhir/Patient/{id_}") == [foreign]
    assert found(rest, f"Observation?subject=Patient/{id_}") == [wanted]


def test_s25_a_reference_by_the_identifier_in_it(rest: httpx.Client) -> None:
    logical = {"identifier": {"system": SYSTEM, "value": "elsewhere"}}
    one = made(rest, observation(subject=logical))["id"]
    made(rest, observation())
    assert found(rest, f"Observation?subject:identifier={SYSTEM}|elsewhere") == [one]
    assert found(rest, f"Observation?subject:identifier={SYSTEM}|nowhere") == []
