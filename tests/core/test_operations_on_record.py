"""Operations on an animal's record fill in what is absent, need one confirmation, and are held against what is seen."""

from typing import Any

import pytest

from service.actions.transact import transact
from service.basics.entries import Entry
from service.fhir import uris
from tests.builders.survey import Practice, business, coded, entered, entry, finding, image, measurement, owed

Json = dict[str, Any]


@pytest.fixture
def practice(books: Any, organization: str) -> Practice:
    made = Practice(books, organization)
    made.place()
    return made


def removed(practice: Practice, code: str, **more: Any) -> Json:
    return {
        "resourceType": "Procedure",
        "status": "completed",
        "code": coded(uris.SURGERY, code),
        "subject": {"reference": f"Patient/{practice.animal}"},
        "performedDateTime": "2024-03-01",
        **more,
    }


def recorded(practice: Practice, resource: Json) -> str:
    (done,) = transact(practice.house, practice.caller, [entry(resource, 0)])
    assert done.stored is not None
    return f"{done.stored.type}/{done.stored.id}"


def test_an_operation_on_record_fills_in_the_absence_and_waits_for_one_confirmation(practice: Practice) -> None:
    source = recorded(practice, removed(practice, "splenectomy"))
    practice.order_again()
    for code in ("spleen", "splenic_vein"):
        task = practice.task(code)
        assert owed(task) == ["confirm:absent-surgical"]
        assert business(task) == ("ready", "not-yet")
        assert "splenectomy (2024-03-01)" in task["input"][0]["type"]["text"]
        assert task["output"][0]["valueReference"] == {"reference": source}
    practice.settle("spleen", disposition="absent-surgical")
    task = practice.task("spleen")
    assert business(task) == ("completed", "absent-surgical")
    said = practice.get(task["output"][1]["valueReference"]["reference"])
    assert said["valueCodeableConcept"] == {"text": "splenectomy"}
    assert said["note"] == [{"text": "the animal's record (Procedure, 2024-03-01)"}]


def test_all_as_expected_does_not_confirm_an_absence(practice: Practice) -> None:
    recorded(practice, removed(practice, "splenectomy"))
    practice.order_again()
    practice.settle("", station=3)
    assert owed(practice.task("spleen")) == ["confirm:absent-surgical"]


def test_a_record_that_comes_during_the_exam_counts_and_begins_nothing(practice: Practice) -> None:
    source = recorded(practice, removed(practice, "cholecystectomy"))
    assert owed(practice.task("gallbladder")) == ["confirm:absent-surgical"]
    assert practice.whole()["status"] == "accepted"
    assert practice.row().started == ""
    practice.change(source, status="entered-in-error")
    assert "measure:wall-thickness" in owed(practice.task("gallbladder"))


def test_what_is_seen_against_the_record_is_a_conflict_until_it_is_explained(practice: Practice) -> None:
    recorded(practice, removed(practice, "splenectomy"))
    practice.send(image("spleen", "long"))
    assert "record-conflict" in owed(practice.task("spleen"))
    assert practice.row().started == "2026-11-25T10:00:00Z"
    practice.settle("spleen", item="record-conflict", detail="an accessory spleen")
    task = practice.task("spleen")
    assert "record-conflict" not in owed(task)
    assert "excused:record-conflict" in entered(task)


def test_a_condition_and_a_side_are_understood_a_refuted_one_is_not(practice: Practice) -> None:
    kidney: Json = {"coding": [{"system": uris.SCT, "code": "64033007"}, {"system": uris.SCT, "code": "7771000"}]}
    condition = {
        "resourceType": "Condition",
        "code": coded(uris.SURGERY, "nephrectomy"),
        "bodySite": [kidney],
        "subject": {"reference": f"Patient/{practice.animal}"},
    }
    recorded(practice, condition | {"verificationStatus": coded(uris.CONDITION_VERIFICATION, "refuted")})
    recorded(practice, condition | {"bodySite": [coded(uris.SCT, "64033007")]})  # which kidney is not said
    assert not {"confirm:absent-surgical"} & {*owed(practice.task("kidney_left")), *owed(practice.task("kidney_right"))}
    recorded(practice, condition)
    assert owed(practice.task("kidney_left")) == ["confirm:absent-surgical"]
    assert owed(practice.task("kidney_right")) != ["confirm:absent-surgical"]


def test_ovariectomy_leaves_a_uterus_to_examine(practice: Practice) -> None:
    assert "uterine_stump" in practice.tasks()
    recorded(practice, removed(practice, "ovariectomy"))
    tasks = practice.tasks()
    assert business(tasks["uterus"]) == ("ready", "not-yet")
    assert business(tasks["uterine_stump"])[1] == "out-of-scope"
    practice.order_again()
    assert "uterus" in practice.tasks()
    assert "uterine_stump" not in practice.tasks()
    recorded(practice, removed(practice, "hysterectomy"))
    practice.order_again()
    assert "uterus" not in practice.tasks()


def test_a_uterus_found_in_the_place_of_the_stump_is_examined(practice: Practice) -> None:
    (source,) = practice.send(finding("uterine_stump", "uterine_stump.state.uterus-present"))
    assert business(practice.task("uterus")) == ("ready", "not-yet")
    assert business(practice.task("uterine_stump"))[0] != "cancelled"
    practice.change(source, status="entered-in-error")
    assert business(practice.task("uterus"))[1] == "out-of-scope"


def test_signs_of_heat_after_neutering_ask_for_the_ovarian_bed(practice: Practice) -> None:
    assert business(practice.task("ovarian_remnant_left"))[0] == "draft"
    heat = {
        "resourceType": "Observation",
        "status": "final",
        "code": coded(uris.NOTE, "heat"),
        "valueBoolean": True,
        "effectiveDateTime": "2026-11-25T10:00:00Z",
    }
    (source,) = practice.send(heat)
    task = practice.task("ovarian_remnant_left")
    assert business(task) == ("ready", "not-yet")
    assert {e["valueCode"] for e in task["extension"] if e["url"] == uris.X_REQUIREMENT} == {"required-attempt"}
    practice.change(source, valueBoolean=False)
    assert business(practice.task("ovarian_remnant_right"))[0] == "draft"


def test_a_gestation_seen_in_the_uterus_makes_its_step_required(books: Any, organization: str) -> None:
    practice = Practice(books, organization)
    practice.place(neutered="intact")
    assert business(practice.task("pregnancy"))[0] == "draft"
    practice.send(finding("uterus", "uterus.lumen.pregnant"))
    assert "measure:fetal-heart-rate" in owed(practice.task("pregnancy"))
    practice.send(
        measurement("pregnancy", "fetus-count", "2", unit="1"),
        measurement("pregnancy", "fetal-heart-rate", "220", unit="/min"),
    )
    (left,) = [i for i in practice.task("pregnancy")["input"] if "fetal" in i["type"]["coding"][0]["code"]]
    assert left["valueInteger"] == 1
    practice.send(measurement("pregnancy", "fetal-heart-rate", "231", unit="/min"))
    assert "measure:fetal-heart-rate" not in owed(practice.task("pregnancy"))


def test_the_order_bundle_may_bring_the_record_with_it(books: Any, organization: str) -> None:
    practice = Practice(books, organization)
    practice.place()
    spleen = removed(practice, "splenectomy")
    order = {
        "resourceType": "ServiceRequest",
        "status": "active",
        "intent": "order",
        "code": coded(uris.SERVICE, "full"),
        "subject": {"reference": f"Patient/{practice.animal}"},
    }
    entries: list[Entry] = [entry(order, 0), entry(spleen, 1)]
    done = transact(practice.house, practice.caller, entries)
    assert done[0].stored is not None
    with practice.books.view(practice.organization) as view:
        practice.exam = view.exam_of_order(done[0].stored.id).id
    assert owed(practice.task("spleen")) == ["confirm:absent-surgical"]
