"""S12-S16: dates, numbers, quantities, chains, and how values are joined."""

from decimal import Decimal

import httpx
import pytest

from service.fhir import exact
from tests.api.conftest import JSON
from tests.conformance.speaking import SYSTEM, found, made, observation, patient, refused

UCUM = "http://unitsofmeasure.org"


# R4, search, "prefixes": 2013-01-14 is the whole day
@pytest.mark.parametrize(
    ("value", "effective", "matches"),
    [
        ("eq2013-01-14", "2013-01-14T00:00:00Z", True),
        ("eq2013-01-14", "2013-01-14T10:00:00Z", True),
        ("eq2013-01-14", "2013-01-15T00:00:00Z", False),
        ("2013-01-14", "2013-01", False),
        ("2013-01", "2013-01-14", True),
        ("ne2013-01-14", "2013-01-15T00:00:00Z", True),
        ("ne2013-01-14", "2013-01-14T00:00:00Z", False),
        ("lt2013-01-14T10:00:00Z", "2013-01-14", True),
        ("gt2013-01-14T10:00:00Z", "2013-01-14", True),
        ("gt2013-01-14", "2013-01-14T10:00:00Z", False),
        ("ge2013-03-14", "2013-03-14", True),
        ("ge2013-03-14", "2013-03-13", False),
        ("le2013-03-14", "2013-03-14", True),
        ("le2013-03-14", "2013-03-15", False),
        ("sa2013-03-14", "2013-03-15", True),
        ("sa2013-03-14", "2013-03-14", False),
        ("eb2013-03-14", "2013-03-13", True),
        ("eb2013-03-14", "2013-03-14", False),
        ("ap2013-03-14", "2013-03-14", True),
        ("ap2013-03-14", "1913-03-14", False),
        ("2013-01-14T10:00:00%2B01:00", "2013-01-14T09:00:00Z", True),
        ("2013-01-14T10:00:00+01:00", "2013-01-14T09:00:00Z", True),
        ("2013-01-14T10%3A00%3A00Z", "2013-01-14T10:00:00Z", True),
        ("2013-01-14T10:00", "2013-01-14T10:00:30Z", True),
    ],
)
def test_s12_dates_are_stretches_of_time(rest: httpx.Client, value: str, effective: str, *, matches: bool) -> None:
    made(rest, observation(effectiveDateTime=effective))
    assert bool(found(rest, f"Observation?date={value}")) is matches


def test_s12_periods_match_with_both_their_ends(rest: httpx.Client) -> None:
    made(rest, observation(effectivePeriod={"start": "2013-01-10", "end": "2013-01-20"}))
    open_ = made(rest, observation(effectivePeriod={"start": "2013-01-15"}))
    assert len(found(rest, "Observation?date=gt2013-01-12&date=lt2013-01-14")) == 1
    assert found(rest, "Observation?date=gt2030") == [open_["id"]]
    assert found(rest, "Observation?date=2013-01") != []
    assert found(rest, "Observation?date=sa2013-01-14") == [open_["id"]]


def measured(rest: httpx.Client, value: str, unit: str = "mm") -> str:
    """The id of an Observation with this very value."""
    length = {"value": Decimal(value), "unit": unit, "system": UCUM, "code": unit}
    answer = rest.post("/fhir/Observation", content=exact.encode(observation(valueQuantity=length)), headers=JSON)
    assert answer.status_code == 201, answer.text
    return str(answer.json()["id"])


@pytest.mark.parametrize(
    ("value", "stored", "matches"),
    [
        ("100", "99.5", True),
        ("100", "100.49", True),
        ("100", "100.5", False),
        ("100", "99.49", False),
        ("100.00", "99.995", True),
        ("100.00", "100.005", False),
        ("1e2", "95", True),
        ("1e2", "105", False),
        ("gt100", "100.000001", True),
        ("gt100", "100", False),
        ("lt100", "99.9999", True),
        ("ge100", "100", True),
        ("le100", "100", True),
        ("ne100", "100.2", False),
        ("ne100", "101", True),
        ("ap100", "109", True),
        ("ap100", "120", False),
        ("sa100", "100.6", True),
        ("eb100", "99", True),
    ],
)
def test_s13_a_numbers_digits_say_how_exact_it_is(
    rest: httpx.Client, value: str, stored: str, *, matches: bool
) -> None:
    one, _ = measured(rest, stored), made(rest, observation())
    assert found(rest, f"Observation?value-quantity={value}") == ([one] if matches else [])


def test_s14_quantities_know_their_units(rest: httpx.Client) -> None:
    one = measured(rest, "7.0")
    for same in (f"7.0|{UCUM}|mm", f"0.70|{UCUM}|cm", f"0.0070|{UCUM}|m", "7.0||mm", "7.0"):
        assert found(rest, f"Observation?value-quantity={same}") == [one], same
    for other in (f"0.70|{UCUM}|mm", f"7.0|{UCUM}|cm", f"7.0|{UCUM}|kg", "7.0|urn:x|mm", "7.1"):
        assert found(rest, f"Observation?value-quantity={other}") == [], other
    assert found(rest, f"Observation?value-quantity=gt0.5|{UCUM}|cm") == [one]
    for wrong in ("much", f"7.0|{UCUM}|", "7.0|mm"):
        refused(rest.get(f"/fhir/Observation?value-quantity={wrong}"), 400)


def test_s15_chains_go_through_references(rest: httpx.Client) -> None:
    rex, tom = made(rest, patient("rex", name=[{"text": "Rex"}])), made(rest, patient("tom", name=[{"text": "Tom"}]))
    seen = [made(rest, observation(subject={"reference": f"Patient/{one['id']}"}))["id"] for one in (rex, tom)]
    report = {"resourceType": "DiagnosticReport", "status": "final", "code": {"text": "x"}}
    told = made(rest, report | {"result": [{"reference": f"Observation/{seen[0]}"}]})["id"]
    assert found(rest, "Observation?subject:Patient.name=rex") == [seen[0]]
    assert found(rest, "Observation?patient.name=rex") == [seen[0]]
    assert found(rest, f"Observation?subject.identifier={SYSTEM}|tom") == [seen[1]]
    assert found(rest, "DiagnosticReport?result.patient.name=rex") == [told]
    assert found(rest, "DiagnosticReport?result.patient.name=tom") == []
    assert found(rest, "Patient?_has:Observation:patient:status=final&name=rex") == [rex["id"]]
    assert found(rest, "Patient?_has:Observation:patient:_has:DiagnosticReport:result:status=final") == [rex["id"]]
    assert found(rest, "Patient?_has:Observation:patient:status=amended") == []
    strict = {"Prefer": "handling=strict"}
    for wrong in ("Observation?subject:Patient.colour=x", "Patient?_has:Observation:colour:status=final"):
        refused(rest.get(f"/fhir/{wrong}", headers=strict), 400)


def test_s16_and_by_repeating_or_by_commas_and_escapes(rest: httpx.Client) -> None:
    plain, odd = made(rest, patient("a")), made(rest, patient("b,c|d$e\\f"))
    both = made(rest, patient(identifier=[{"system": SYSTEM, "value": value} for value in ("a", "z")]))
    a, z = f"identifier={SYSTEM}|a", f"identifier={SYSTEM}|z"
    assert set(found(rest, f"Patient?{a}")) == {plain["id"], both["id"]}
    assert found(rest, f"Patient?{a}&{z}") == [both["id"]]
    assert set(found(rest, f"Patient?{a},{SYSTEM}|z")) == {plain["id"], both["id"]}
    assert found(rest, f"Patient?identifier={SYSTEM}|b\\,c\\|d\\$e\\\\f") == [odd["id"]]
    assert found(rest, f"Patient?identifier={SYSTEM}|b,{SYSTEM}|nothing") == []
