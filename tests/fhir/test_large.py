"""Large resources: all that is wrong is told at its place, as of a small one, in bounded time and memory."""

import time
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.basics.errors import Fault, Invalid, TooLarge
from service.fhir import exact, validate
from service.fhir.validate.compiled import validator
from service.fhir.validate.faults import explained
from service.fhir.validate.shortened import MOST, errors
from tests.builders import bad_input as bad

Json = dict[str, Any]
FAULTS: list[Json] = [
    {"valueString": 3},
    {"valueString": "a", "valueInteger": 1},
    {"nonsense": True},
    {"interpretation": []},
    {"interpretation": [{"coding": [{"system": 1, "code": "H"}, {"code": "H"}, {"code": " "}]}]},
    {"referenceRange": [{"low": {"value": "1"}}, {}]},
    {"code": {"coding": [{"code": "a", "userSelected": "yes"}] * 3}},
    {"extension": [{"url": "urn:x", "valueString": "a", "valueInteger": 1}]},
    {"valueString": None},
]
NOTES: list[Json] = [*({"text": str(n)} for n in range(400)), {"txt": 1}]


def _component(n: int, more: Json) -> Json:
    return {"code": {"text": f"c{n}", "coding": [{"system": "urn:x", "code": str(n)}]}, "valueString": "x", **more}


def _observation(size: int, wrong: dict[int, Json], **more: Any) -> Json:
    components = [_component(n, wrong.get(n, {})) for n in range(size)]
    return {"resourceType": "Observation", "status": "final", "code": {"text": "a"}, "component": components, **more}


def _as_a_whole(resource: Json) -> set[Fault]:
    compiled, value = validator("Observation"), {"Observation": resource}
    assert compiled is not None
    return set(explained("Observation", ((one, list) for one in compiled.iter_errors(value))))


def _in_parts(resource: Json) -> set[Fault]:
    compiled, value = validator("Observation"), {"Observation": resource}
    return set(explained("Observation", errors(compiled, value, exact.encode(resource))))


@settings(max_examples=60, deadline=None)
@given(
    size=st.integers(120, 900),
    wrong=st.dictionaries(st.integers(0, 899), st.sampled_from(FAULTS), max_size=8),
    more=st.sampled_from(
        [
            {},
            {"status": "odd"},
            {"note": [{"text": str(n)} for n in range(400)] + [{"txt": 1}]},
            {"nonsense": [1] * 900},
        ]
    ),
)
def test_in_parts_as_in_the_whole(size: int, wrong: dict[int, Json], more: Json) -> None:
    resource = _observation(size, wrong, **more)
    compiled = validator("Observation")
    assert compiled is not None
    if not compiled.is_valid({"Observation": resource}):
        assert _in_parts(resource) == _as_a_whole(resource)


def test_faults_far_apart_are_all_told() -> None:
    resource = _observation(4000, {1: {"nonsense": 1}, 2000: {"valueInteger": 2}, 3999: {"valueString": 3}})
    del resource["status"]
    assert sorted(fault.where for fault in validate.check(resource)) == [
        "Observation.component[1].nonsense",
        "Observation.component[2000].value",
        "Observation.component[3999].value",
        "Observation.status",
    ]


def test_a_list_in_a_list() -> None:
    inner = [{"url": "urn:y", "valueString": "z"} for _ in range(300)]
    many: list[Json] = [{"url": "urn:x", "extension": inner} for _ in range(20)]
    many[17] = {"url": "urn:x", "extension": [*inner[:251], {"url": "urn:y", "valueString": 7}, *inner]}
    found = validate.check({"resourceType": "Patient", "extension": many})
    assert [fault.where for fault in found] == ["Patient.extension[17].extension[251].value"]


def test_an_object_that_a_part_ends_in_is_judged_once() -> None:
    """What is needed or excluded in it may stand on either side of where it was cut."""
    long = [{"text": str(n)} for n in range(2000)]
    patient = {"resourceType": "Patient", "name": long, "active": True, "contact": long, "multipleBirthInteger": 1}
    assert {fault.text.partition(":")[0] for fault in validate.check(patient)} == {
        '"text" is not an element of Patient.contact in R4',
        "pat-1",
    }


@pytest.mark.parametrize("name", sorted(bad.WIDE))
def test_what_is_wrong_all_over_costs_little(name: str) -> None:
    try:
        resource = exact.decode(bad.WIDE[name])
    except (Invalid, TooLarge):  # before anyone looks at what it means
        return
    began = time.process_time()
    assert 1 <= len(validate.check(resource)) <= MOST
    assert time.process_time() - began < 2  # 0.3 on an idle machine
