"""An invented dog with one testis in the scrotum, a spleen removed and a lesion in its liver, over HTTP."""

from decimal import Decimal

import pytest

from service.fhir import exact, uris
from tests.builders import orders
from tests.builders.orders import concept, entry, transaction
from tests.builders.scanner import Scanner
from tests.whole.telling import Desk, Exam, coded, decoded, refusal, taken

pytestmark = pytest.mark.sqlite_first

LATER = "2026-11-26T10:00:00Z"


def test_a_dog_with_one_testis_and_no_spleen_from_order_to_report(desk: Desk) -> None:
    exam = ordered(desk)
    assert desk.owed(exam)["spleen"] == ["confirm:absent-surgical"]
    assert "retained_testis" not in desk.steps(exam)
    taken(desk.settle(exam, "ask_testes", scrotalTestes=1))
    assert "finding:finding" in desk.owed(exam)["retained_testis"]
    for step in ("spleen", "splenic_vein"):
        taken(desk.settle(exam, step, disposition="absent-surgical"))
    taken(desk.note(exam.scanner.found("liver_left", "focal-lesions", "single")))
    assert "lesion" in desk.owed(exam)["liver_left"]
    record = decoded(taken(desk.note(exam.scanner.lesion("liver_left"))))
    assert not [i for i in desk.owed(exam)["liver_left"] if i.startswith("lesion")]
    desk.survey(exam)
    assert desk.owed(exam) == {}
    report = desk.get(desk.finish(exam)["report"])
    assert report["status"] == "final"
    told = exact.encode(report["text"]).decode()
    assert "splenectomy" in told
    assert "record (Procedure, 2024-03-01)" in told
    assert "Focal lesion 1, near the caudal margin: nodule, hypoechoic, well defined, no flow, no artefact." in told
    identity = desk.get(record["focus"][0]["reference"])
    assert {"system": uris.LESION, "value": f"{exam.animal}.1"} in identity["identifier"]
    found = desk.search("Observation", focus=f"BodyStructure/{identity['id']}")
    assert [o["id"] for o in found] == [record["id"]]
    assert [b["id"] for b in desk.search("BodyStructure", patient=f"Patient/{exam.animal}")] == [identity["id"]]


def test_a_lesion_is_followed_into_the_next_exam(desk: Desk) -> None:
    first = desk.place(service="limited", bodySite=[concept(uris.STRUCTURE, "spleen")])
    record = decoded(taken(desk.note(first.scanner.lesion("spleen"))))
    taken(desk.note(first.scanner.found("spleen", "focal-lesions", "single")))
    desk.survey(first)
    desk.finish(first, conclusion="One lesion in the spleen.")
    again = {
        k: v for k, v in desk.get(f"ServiceRequest/{first.order}").items() if k not in {"id", "meta", "identifier"}
    }
    order = decoded(taken(desk.send(again)))["id"]
    second = Exam(order, first.animal, desk.exam_task(order)["id"], Scanner(order, first.animal, at=LATER))
    grown = second.scanner.lesion("spleen") | {"focus": [{"reference": record["focus"][0]["reference"]}]}
    grown["component"][1]["valueQuantity"]["value"] = Decimal("19.0")
    taken(desk.note(grown, second.scanner.lesion("spleen", place="at the tail")))
    taken(desk.note(second.scanner.found("spleen", "focal-lesions", "few")))
    desk.survey(second)
    told = exact.encode(
        desk.get(desk.finish(second, conclusion="One has grown, one is new.")["report"])["text"]
    ).decode()
    assert "Focal lesion 1, near the caudal margin" in told
    assert "Focal lesion 2, at the tail" in told
    assert "Spleen, lesion 1" in told
    assert "19.0 mm, was 12.0 mm (+7.0 mm, +58.3%)" in told


def test_a_finding_outside_its_vocabulary_is_told_with_what_can_be_said(desk: Desk) -> None:
    exam = desk.place()
    strange = exam.scanner.found("spleen", "size", "normal")
    strange["valueCodeableConcept"] = concept(uris.FINDING, "spleen.size.colossal")
    ((where, words),) = refusal(desk.note(strange), 422)
    assert where == "Observation.value.ofType(CodeableConcept)"
    assert "spleen.size.large-mild (Mildly enlarged)" in words
    wrong = exam.scanner.lesion("liver_left")
    wrong["component"][4]["valueCodeableConcept"] = concept(uris.FINDING, "focal_lesion.kind.blob")
    ((where, words),) = refusal(desk.note(wrong), 422)
    assert where == "Observation.component[4].value.ofType(CodeableConcept)"
    assert "focal_lesion.kind.wedge" in words


def test_an_abnormal_node_is_measured_wherever_it_lies(desk: Desk) -> None:
    exam = desk.place()
    assert coded(desk.steps(exam)["splenic_lymph_nodes"]["businessStatus"]) == "not-yet"
    taken(desk.note(exam.scanner.found("splenic_lymph_nodes", "size", "enlarged")))
    assert {"measure:thickness", "measure:length", "finding:flow"} <= set(desk.owed(exam)["splenic_lymph_nodes"])


def ordered(desk: Desk) -> Exam:
    """The order of a male dog, entire by its record, whose spleen was taken two years ago."""
    whole = orders.bundle(orders.patient(sex="male", neutered="intact"))
    dog = next(e["fullUrl"] for e in whole["entry"] if e["resource"]["resourceType"] == "Patient")
    operation = {
        "resourceType": "Procedure",
        "status": "completed",
        "code": concept(uris.SURGERY, "splenectomy"),
        "subject": {"reference": dog},
        "performedDateTime": "2024-03-01",
    }
    return desk.exam_of(desk.send(transaction([*whole["entry"], entry(operation)])))
