"""Our profiles are valid StructureDefinitions that narrow what R4 has, and check what they say."""

from copy import deepcopy
from decimal import Decimal
from typing import Any

import fhirkit
import pytest

from service.fhir import exact, profiles, r4, uris, validate
from service.fhir.validate import compiled

STRUCTURES = {one["url"]: one for one in profiles.structure_definitions()}
MEASURED: dict[str, Any] = {
    "resourceType": "Observation",
    "status": "final",
    "code": {"coding": [{"system": uris.MEASURE, "code": "length"}]},
    "subject": {"reference": "Patient/a"},
    "bodySite": {"text": "left kidney"},
    "valueQuantity": {"value": Decimal("7.0"), "unit": "cm", "system": uris.UCUM, "code": "cm"},
}
MEASUREMENT = f"{uris.BASE}/StructureDefinition/measurement"


def test_there_is_one_for_each_thing_of_the_trade() -> None:
    names = {profile.name for profile in profiles.PROFILES.values()}
    assert names == {
        "animal", "order", "exam-task", "step-task", "measurement", "finding", "focal-lesion", "lesion", "not-seen",
        "report", "charge", "invoice", "pre-authorisation", "urgent-finding", "urgent-communication", "urgent-notice",
    }  # fmt: skip


def test_every_extension_of_ours_is_defined() -> None:
    ours = {one for one in vars(uris).values() if str(one).startswith(f"{uris.BASE}/StructureDefinition/")}
    assert set(profiles.OWN) == ours


@pytest.mark.parametrize("url", STRUCTURES)
def test_it_is_a_valid_structure_definition(url: str) -> None:
    """By our own check of R4, by fhirkit-rs and by the models of fhir.resources."""
    structure = STRUCTURES[url]
    assert validate.check(structure) == []
    assert [i for i in fhirkit.validate(exact.encode(structure)) if i.severity == "error"] == []
    assert r4.model("StructureDefinition").model_validate(structure).url == url
    assert structure["url"].endswith(f"/{structure['id']}")


def _known(path: str) -> bool:
    """Whether R4 has the element: its property, or the choice it names."""
    kind, *steps = path.split(".")
    for step in steps:
        schema = compiled.definitions()[kind]
        base = step.removesuffix("[x]")
        names = [n for n in schema["properties"] if n == step or (step.endswith("[x]") and n.startswith(base))]
        if not names:
            return False
        node = schema["properties"][names[0]]
        node = node.get("items", node)
        kind = node.get("$ref", "").rpartition("/")[2] or kind
        kind = "Reference" if kind.startswith("Reference.") else kind
        if step == "value[x]" and path.endswith(("coding", "system", "code")):
            kind = "CodeableConcept" if path.endswith("coding") else "Quantity"
    return True


@pytest.mark.parametrize("url", STRUCTURES)
def test_every_element_is_one_of_r4(url: str) -> None:
    paths = [element["path"] for element in STRUCTURES[url]["differential"]["element"]]
    assert [path for path in paths if not _known(path)] == []
    ids = [element["id"] for element in STRUCTURES[url]["differential"]["element"]]
    assert len(set(ids)) == len(ids)


def test_a_measurement_that_keeps_its_profile() -> None:
    assert validate.check(MEASURED) == []
    assert profiles.against(MEASURED, MEASUREMENT) == []
    assert profiles.known_by_sign(MEASURED) == [MEASUREMENT]


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"code": {"text": "length"}}, "Observation.code"),
        ({"bodySite": None}, "Observation.bodySite"),
        ({"valueQuantity": {"value": 7, "unit": "cm"}}, "Observation.value.system"),
        ({"valueQuantity": {"value": 7, "system": "https://x.example", "code": "cm"}}, "Observation.value.system"),
        (
            {"extension": [{"url": uris.X_PLANE, "valueCodeableConcept": {"text": "x"}}] * 2},
            f"Observation.extension.where(url='{uris.X_PLANE}')",
        ),
    ],
)
def test_a_measurement_that_does_not(change: dict[str, Any], where: str) -> None:
    changed = {name: value for name, value in (deepcopy(MEASURED) | change).items() if value is not None}
    assert where in [fault.where for fault in profiles.against(changed, MEASUREMENT)]


def test_a_profile_of_an_unseen_structure_wants_the_reason_and_no_value() -> None:
    url = f"{uris.BASE}/StructureDefinition/not-seen"
    seen = MEASURED | {"code": {"coding": [{"system": uris.DISPOSITION, "code": "not-seen"}]}}
    assert profiles.known_by_sign(seen) == [url]
    assert [f.where for f in profiles.against(seen, url)] == ["Observation.value", "Observation.dataAbsentReason"]


def test_a_reference_to_another_type_breaks_a_profile() -> None:
    order = {"resourceType": "ServiceRequest", "code": {"coding": [{"code": "x"}]}, "subject": {"reference": "Group/1"}}
    url = f"{uris.BASE}/StructureDefinition/order"
    assert [f.where for f in profiles.against(order, url)] == ["ServiceRequest.subject"]


def _told(resource: Any, **asked: Any) -> list[tuple[str, str]]:
    remarks = validate.opinion(resource, **{"type_": "Observation", **asked})
    return [(remark.severity, remark.fault.where) for remark in remarks]


def test_an_opinion_of_what_is_right() -> None:
    assert _told(MEASURED) == [("information", "")]
    assert _told(MEASURED, asked=[f"{MEASUREMENT}|1.0.0"]) == [("information", "")]
    assert _told(MEASURED, asked=[f"{uris.STRUCTURE_DEFINITION}Observation"]) == [("information", "")]
    assert _told(MEASURED | {"id": "a"}, mode="update", id_="a") == [("information", "")]


def test_an_opinion_tells_all_faults_and_what_another_validator_says() -> None:
    told = _told(MEASURED | {"status": "x", "colour": 1})
    assert {where for severity, where in told if severity == "error"} == {"Observation.status", "Observation.colour"}
    assert ("information", "Observation.colour") in told


def test_an_opinion_of_our_own_rules_is_for_practices() -> None:
    placeless = {name: value for name, value in MEASURED.items() if name != "bodySite"}
    assert ("error", "Observation.bodySite") in _told(placeless)
    assert _told(placeless, practice=False) == [("information", "")]
    assert ("error", "Observation.bodySite") in _told(placeless, practice=False, asked=[MEASUREMENT])
    claims = placeless | {"meta": {"profile": [MEASUREMENT]}}
    assert ("error", "Observation.bodySite") in _told(claims, practice=False)


@pytest.mark.parametrize(
    ("asked", "where"),
    [
        ({"mode": "shred"}, "Parameters.parameter.where(name='mode')"),
        ({"mode": "update"}, "Parameters.parameter.where(name='mode')"),
        ({"mode": "update", "id_": "b"}, "Observation.id"),
        ({"asked": ["https://x.example/unknown"]}, "Parameters.parameter.where(name='profile')"),
        ({"asked": [f"{uris.BASE}/StructureDefinition/invoice"]}, "Observation.resourceType"),
        ({"type_": "Patient"}, "Observation.resourceType"),
    ],
)
def test_an_opinion_of_the_question(asked: dict[str, Any], where: str) -> None:
    assert ("error", where) in _told(MEASURED, **asked)


def test_an_opinion_without_a_resource() -> None:
    assert _told(None, mode="delete", id_="a") == [("information", "")]
    assert _told(None) == [("error", "Parameters.parameter.where(name='resource')")]


@pytest.mark.parametrize("odd", [[], "x", 1, {"resourceType": []}, {"resourceType": "Frog"}, {"meta": 1}])
def test_an_opinion_of_what_is_no_resource(odd: Any) -> None:
    assert [severity for severity, _ in _told(odd) if severity == "error"]
