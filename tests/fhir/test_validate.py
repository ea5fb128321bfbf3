"""What R4 forbids is refused where it stands; what it allows passes; other checkers agree on what is good."""

import subprocess
import sys
import time
from collections.abc import Iterator
from typing import Any

import fhirkit
import pytest

from service.fhir import exact, r4, uris, validate
from tests.builders.r4_cases import BAD, GOOD, OBSERVATION, PATIENT, XHTML


@pytest.mark.parametrize("name", GOOD)
def test_good_passes(name: str) -> None:
    assert validate.check(GOOD[name]) == []


@pytest.mark.parametrize("name", BAD)
def test_bad_is_refused_where_it_stands(name: str) -> None:
    faults = validate.check(BAD[name].resource)
    assert BAD[name].where in [fault.where for fault in faults], (BAD[name].breaks, faults)


@pytest.mark.parametrize("name", BAD)
def test_nothing_else_is_blamed(name: str) -> None:
    """Every fault told lies at the place of the one mistake, around it or inside it."""
    where = BAD[name].where
    others = [
        f for f in validate.check(BAD[name].resource) if not (f.where.startswith(where) or where.startswith(f.where))
    ]
    assert others == []


def _model_takes(resource: dict[str, Any]) -> bool:
    try:
        r4.model(resource["resourceType"]).model_validate(resource)
    except ValueError:  # pydantic's own kind of it
        return False
    return True


def _fhirkit_takes(resource: dict[str, Any]) -> bool:
    return not [issue for issue in fhirkit.validate(exact.encode(resource)) if issue.severity == "error"]


def test_verdicts_side_by_side() -> None:
    """fhir.resources R4B and fhirkit-rs take all that we hold good; both miss much of what we refuse."""
    assert [name for name in GOOD if not _fhirkit_takes(GOOD[name])] == []
    assert [name for name in GOOD if not _model_takes(GOOD[name])] == []
    bad = {name: case.resource for name, case in BAD.items()}
    right = {
        "ours": sum(bool(validate.check(resource)) for resource in bad.values()),
        "fhirkit-rs": sum(not _fhirkit_takes(resource) for resource in bad.values()),
        "fhir.resources": sum(not _model_takes(resource) for resource in bad.values()),
    }
    assert right["ours"] == len(bad)
    assert len(bad) > right["fhirkit-rs"] >= 20
    assert len(bad) > right["fhir.resources"] >= 20


def test_all_faults_are_told_at_once() -> None:
    faults = validate.check(
        {
            "resourceType": "Observation",
            "status": "x",
            "colour": 1,
            "component": [{"valueString": ""}, {}],
            "issued": "now",
        }
    )
    assert {f.where for f in faults} == {
        "Observation.status",
        "Observation.colour",
        "Observation.code",
        "Observation.component[0].code",
        "Observation.component[0].value",
        "Observation.component[1]",
        "Observation.component[1].code",
        "Observation.issued",
    }
    assert all(fault.text and fault.reason for fault in faults)


@pytest.mark.parametrize("value", [None, [], "x", {}, {"resourceType": 1}, {"resourceType": "Frog"}])
def test_what_is_no_resource_is_told(value: object) -> None:
    assert len(validate.check(value)) == 1


def test_the_type_that_is_expected() -> None:
    assert validate.check(PATIENT, type_="Patient") == []
    assert [f.reason for f in validate.check(PATIENT, type_="Observation")] == ["invalid"]


ODD: list[Any] = [None, 1, "#x", [], [None], {}, [[]], [{"resourceType": "Patient"}], {"start": 1, "div": 2}]


def _mangled(value: Any, odd: Any) -> Iterator[Any]:
    """The same value with each part of it replaced, one at a time."""
    yield odd
    if isinstance(value, dict):
        for name, part in value.items():
            yield from ({**value, name: other} for other in _mangled(part, odd))
    if isinstance(value, list):
        for at, part in enumerate(value):
            yield from ([*value[:at], other, *value[at + 1 :]] for other in _mangled(part, odd))


@pytest.mark.parametrize("odd", ODD, ids=str)
def test_no_shape_makes_it_stumble(odd: Any) -> None:
    bundles = [case.resource for case in BAD.values() if case.resource["resourceType"] == "Bundle"]
    told = [validate.check(other) for case in [*GOOD.values(), *bundles] for other in _mangled(case, odd)]
    assert sum(bool(faults) for faults in told) > len(told) // 3


def test_words_do_not_repeat_what_people_wrote() -> None:
    secret = "Owner Mustermann"
    faults = validate.check(PATIENT | {"birthDate": secret, "name": secret, "active": secret, "photo": [secret]})
    assert len(faults) == 4
    assert not [fault for fault in faults if secret in fault.text]


def _animal(*parts: dict[str, Any]) -> dict[str, Any]:
    return PATIENT | {"extension": [{"url": uris.ANIMAL, "extension": list(parts)}]}


def test_profile_an_animal_has_a_coded_species() -> None:
    dog = {"coding": [{"system": uris.SCT, "code": "448771007"}]}
    assert validate.profile(_animal({"url": "species", "valueCodeableConcept": dog})) == []
    assert validate.profile(PATIENT) == []
    breed = {"url": "breed", "valueCodeableConcept": {"text": "x"}}
    species = f"Patient.extension.where(url='{uris.ANIMAL}').extension.where(url='species')"
    assert [f.where for f in validate.profile(_animal(breed))] == [species]
    text = {"url": "species", "valueCodeableConcept": {"text": "dog"}}
    assert [f.where for f in validate.profile(_animal(text))] == [f"{species}.value.coding"]


def test_profile_a_measurement_says_where_and_in_what_unit() -> None:
    measured = OBSERVATION | {"code": {"coding": [{"system": uris.MEASURE, "code": "length"}]}}
    assert [f.where for f in validate.profile(measured)] == ["Observation.bodySite"]
    sited = measured | {"bodySite": {"text": "left kidney"}}
    assert validate.profile(sited) == []
    assert [f.where for f in validate.profile(sited | {"valueQuantity": {"value": 1, "unit": "mm"}})] == [
        "Observation.value.system",
        "Observation.value.code",
    ]
    assert validate.profile(OBSERVATION) == []


def test_profile_what_may_change_the_meaning_is_refused() -> None:
    changed = OBSERVATION | {
        "implicitRules": "https://x.example/rules",
        "modifierExtension": [{"url": "x", "valueCode": "y"}],
    }
    assert [f.where for f in validate.profile(changed)] == [
        "Observation.implicitRules",
        "Observation.modifierExtension",
    ]


def test_importing_compiles_nothing() -> None:
    code = (
        "import sys, service.fhir.validate.compiled as c, service.fhir.search; print(c._compiled.cache_info().misses)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True).stdout == "0\n"


def test_much_that_is_wrong_costs_little() -> None:
    """Texts made to take long (nothing here may grow with the square of its length) are answered at once."""
    div = f"<div {XHTML}>" + "<!-- " * 200_000 + "</div>"
    contained = [{"resourceType": "Device", "id": f"d{i}", "owner": {"reference": f"#x{i}"}} for i in range(3_000)]
    many = {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": PATIENT | {"gender": "x"}}] * 5_000}
    links = [{"reference": "https://x.example/fhir/Practitioner/1"}] * 50_000
    before = time.process_time()
    assert len(validate.check(OBSERVATION | {"hasMember": links})) == 200
    assert validate.check(OBSERVATION | {"text": {"status": "generated", "div": div}})
    assert validate.check(OBSERVATION | {"contained": contained})
    assert len(validate.check(many)) == 200
    assert len(validate.check(PATIENT | {"name": [{"foo": 1}] * 50_000})) == 200
    assert time.process_time() - before < 5


def test_a_status_of_a_condition_is_from_its_value_set() -> None:
    system = "http://terminology.hl7.org/CodeSystem/condition-clinical"
    condition = {"resourceType": "Condition", "subject": {"reference": "Patient/a"}}
    coded = {
        code: condition | {"clinicalStatus": {"coding": [{"system": system, "code": code}]}} for code in ("active", "x")
    }
    assert validate.check(coded["active"]) == []
    assert [f.reason for f in validate.check(coded["x"])] == ["code-invalid"]
    assert [f.reason for f in validate.check(condition | {"clinicalStatus": {"text": "active"}})] == ["required"]
