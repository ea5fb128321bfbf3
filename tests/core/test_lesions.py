"""Focal lesions: each a record of its own, numbered, known again in a later exam, and asked for what it lacks."""

from decimal import Decimal
from typing import Any

import pytest

from service.basics.errors import Conflict, RuleBroken
from service.fhir import uris, validate
from tests.builders.survey import Practice, coded, entered, finding, mappings, owed

Json = dict[str, Any]
KIND = "focal_lesion.kind.nodule"


@pytest.fixture
def practice(books: Any, organization: str) -> Practice:
    made = Practice(books, organization)
    made.place()
    return made


def diameter(key: str, value: str) -> Json:
    quantity = {"value": Decimal(value), "unit": "mm", "system": uris.UCUM, "code": "mm"}
    return {"code": coded(uris.MEASURE, f"lesion-{key}"), "valueQuantity": quantity}


def word(key: str, value: str) -> Json:
    return {
        "code": coded(uris.ATTRIBUTE, key),
        "valueCodeableConcept": coded(uris.FINDING, f"focal_lesion.{key}.{value}"),
    }


def record(structure: str, *components: Json, **more: Any) -> Json:
    return {
        "resourceType": "Observation",
        "status": "final",
        "code": coded(uris.ATTRIBUTE, "focal-lesion"),
        "bodySite": coded(uris.STRUCTURE, structure),
        "effectiveDateTime": "2026-11-25T10:00:00Z",
        **({"component": list(components)} if components else {}),
        **more,
    }


WHOLE = (
    {"code": coded(uris.ATTRIBUTE, "place"), "valueString": "near the hilum"},
    diameter("length", "12.0"),
    diameter("width", "10.5"),
    diameter("height", "9.0"),
    word("kind", "nodule"),
    word("edge", "sharp"),
    word("echogenicity", "hypoechoic"),
    word("vascularity", "not-done"),
    word("artefact", "none"),
)


def number(resource: Json) -> int:
    return next(e["valuePositiveInt"] for e in resource["extension"] if e["url"] == uris.X_LESION)


def test_a_record_gets_a_number_and_an_identity_and_settles_what_was_asked(practice: Practice) -> None:
    practice.send(finding("spleen", "spleen.focal-lesions.single"))
    assert "lesion" in owed(practice.task("spleen"))
    (source,) = practice.send(record("spleen", *WHOLE))
    stored = practice.get(source)
    assert number(stored) == 1
    lesion = practice.get(stored["focus"][0]["reference"])
    assert lesion["description"] == "Focal lesion 1: Spleen"
    assert lesion["patient"] == {"reference": f"Patient/{practice.animal}"}
    assert {"system": uris.LESION, "value": f"{practice.animal}.1"} in lesion["identifier"]
    assert not validate.check(lesion)
    assert not validate.check(stored)
    task = practice.task("spleen")
    assert not [i for i in owed(task) if i.startswith("lesion")]
    assert {"lesion:1", "measure:lesion-length"} <= set(entered(task))


def test_what_a_record_lacks_is_owed_until_it_is_sent_again(practice: Practice) -> None:
    (source,) = practice.send(record("liver_left", *WHOLE[:3]))
    told = {i["type"]["coding"][0]["code"]: i["type"]["text"] for i in practice.task("liver_left")["input"]}
    assert "the height, the kind, the edge" in told["lesion:1"]
    practice.change(source, component=list(WHOLE))
    assert "lesion:1" not in owed(practice.task("liver_left"))
    practice.change(source, status="entered-in-error")
    assert "lesion:1" not in owed(practice.task("liver_left"))


def test_several_lesions_at_once_are_numbered_and_a_correction_keeps_its_number(practice: Practice) -> None:
    first, second, third = practice.send(
        record("spleen", *WHOLE), record("spleen", word("kind", "cyst")), record("liver_right", word("kind", "mass"))
    )
    assert [number(practice.get(s)) for s in (first, second, third)] == [1, 2, 3]
    before = practice.get(second)
    practice.change(second, focus=None, component=[word("kind", "mass")])
    assert practice.get(second)["focus"] == before["focus"]


def test_a_later_exam_knows_the_lesion_again(practice: Practice) -> None:
    (source,) = practice.send(record("spleen", *WHOLE))
    lesion = practice.get(source)["focus"][0]["reference"]
    practice.order_again()
    (later,) = practice.send(record("spleen", diameter("length", "15.0"), focus=[{"reference": lesion}]))
    assert number(practice.get(later)) == 1
    (new,) = practice.send(record("spleen", diameter("length", "4.0")))
    assert number(practice.get(new)) == 2


def test_a_lesion_of_another_place_or_animal_is_refused_with_those_that_are_known(practice: Practice) -> None:
    (source,) = practice.send(record("spleen", *WHOLE))
    lesion = practice.get(source)["focus"][0]["reference"]
    with pytest.raises(RuleBroken, match="does not lie in this structure"):
        practice.send(record("liver_left", focus=[{"reference": lesion}]))
    with pytest.raises(RuleBroken) as refused:
        practice.send(
            record("spleen", focus=[{"reference": "BodyStructure/unknown"}]), record("spleen", word("kind", "blob"))
        )
    first, second = refused.value.faults
    assert "Focal lesion 1: Spleen" in first.text
    assert first.where == "Bundle.entry[0].resource.focus"
    assert "focal_lesion.kind.nodule (Nodule)" in second.text


def test_a_senders_length_of_a_lesion_is_no_length_of_the_organ(practice: Practice) -> None:
    length = {**diameter("length", "12.0"), "code": coded(uris.SCT, "410668003")}  # Length, DICOM PS3.16 CID 7470
    practice.send(record("kidney_left", length))
    task = practice.task("kidney_left")
    assert "measure:length" in owed(task)
    assert "measure:lesion-length" in entered(task)


def test_a_lesion_ends_that_there_was_none(practice: Practice) -> None:
    practice.settle("spleen", disposition="seen")
    assert "finding:focal-lesions" not in owed(practice.task("spleen"))
    practice.send(record("spleen", *WHOLE))
    assert "finding:focal-lesions" in owed(practice.task("spleen"))


def test_every_word_of_a_record_has_its_vocabulary() -> None:
    keys = {a.key for a in mappings().vocabularies["focal_lesion"]}
    assert keys == {"kind", "edge", "echogenicity", "vascularity", "artefact"}


def test_nobody_writes_the_identity_of_a_lesion_by_hand(practice: Practice) -> None:
    (source,) = practice.send(record("spleen", *WHOLE))
    with pytest.raises(Conflict, match="identity of a focal lesion"):
        practice.change(practice.get(source)["focus"][0]["reference"], active=False)


def test_a_lesion_recorded_in_error_is_inactive_until_a_record_stands_for_it(practice: Practice) -> None:
    (source,) = practice.send(record("spleen", *WHOLE))
    lesion = practice.get(source)["focus"][0]["reference"]
    (other,) = practice.send(record("spleen", word("kind", "cyst"), focus=[{"reference": lesion}]))
    practice.change(other, status="entered-in-error")
    assert practice.get(lesion)["active"] is True
    practice.change(source, status="entered-in-error")
    assert practice.get(lesion)["active"] is False
    practice.send(record("spleen", *WHOLE, focus=[{"reference": lesion}]))
    assert practice.get(lesion)["active"] is True
