"""An order over HTTP: one exam with its steps and its planned charge, or a refusal of all that is wrong."""

from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy

import pytest

from service.fhir import uris
from tests.builders import orders
from tests.whole.telling import Desk, Json, charges, coded, decoded, only, references, refusal, taken

ALL_KINDS = ("Patient", "RelatedPerson", "ServiceRequest", "Task", "Procedure", "ChargeItem")
NOTHING = dict.fromkeys(ALL_KINDS, 0)


def order_of(whole: Json) -> Json:
    return dict(whole["entry"][-1]["resource"])


def animal_of(whole: Json) -> Json:
    return dict(whole["entry"][0]["resource"])


def test_a_bundle_opens_an_exam_with_its_steps_procedure_and_planned_charge(desk: Desk) -> None:
    exam = desk.place()
    task = desk.get(f"Task/{exam.id}")
    assert (task["status"], task["focus"]["reference"]) == ("accepted", f"ServiceRequest/{exam.order}")
    assert task["for"]["reference"] == f"Patient/{exam.animal}"
    assert task["priority"] == "urgent"
    steps = desk.steps(exam)
    assert {s["partOf"][0]["reference"] for s in steps.values()} == {f"Task/{exam.id}"}
    assert {s["status"] for s in steps.values()} == {"ready", "draft"}
    assert only(desk.search("Procedure"))["status"] == "preparation"
    assert charges(desk, exam) == {"full": "planned"}


def test_a_single_request_refers_to_what_is_stored(desk: Desk) -> None:
    animal = decoded(taken(desk.send(orders.patient(species="cat"))))
    answer = taken(desk.send(orders.request(f"Patient/{animal['id']}", service="fluid-check")))
    assert answer.status_code == 201
    task = desk.exam_task(decoded(answer)["id"])
    assert task["for"]["reference"] == f"Patient/{animal['id']}"


@pytest.mark.parametrize(
    ("system", "code", "service"),
    [(uris.LOINC, "24558-9", "full"), (uris.SCT, "45036003", "full"), (uris.SERVICE, "fluid-check", "fluid-check")],
)
def test_codes_of_others_order_too(desk: Desk, system: str, code: str, service: str) -> None:
    exam = desk.place(code=orders.concept(system, code))
    assert charges(desk, exam) == {service: "planned"}


def test_named_organs_limit_the_steps(desk: Desk) -> None:
    exam = desk.place(service="limited", bodySite=[orders.concept(uris.STRUCTURE, "spleen")])
    assert set(desk.steps(exam)) == {"spleen", "splenic_vein"}
    assert charges(desk, exam) == {"limited": "planned"}


def test_the_same_order_again_is_the_same_exam(desk: Desk) -> None:
    whole = orders.bundle()
    first, again = desk.send(whole), desk.send(deepcopy(whole))
    assert references(first) == references(again)
    assert {e["response"]["status"][:3] for e in decoded(first)["entry"]} == {"201"}
    assert {e["response"]["status"][:3] for e in decoded(again)["entry"]} == {"200"}
    before = desk.counts(*ALL_KINDS)
    assert before["ServiceRequest"] == before["Procedure"] == before["ChargeItem"] == 1


def test_a_single_request_again_is_the_same_exam(desk: Desk) -> None:
    animal = decoded(taken(desk.send(orders.patient())))
    request = orders.request(f"Patient/{animal['id']}", service="fluid-check")
    first, again = desk.send(request), desk.send(request)
    assert (first.status_code, again.status_code) == (201, 200)
    assert decoded(first)["id"] == decoded(again)["id"]


def test_twenty_at_once_are_one_exam_with_one_set_of_steps(desk: Desk) -> None:
    whole = orders.bundle()
    with ThreadPoolExecutor(20) as callers:
        answers = list(callers.map(lambda _: references(desk.send(whole)), range(20)))
    assert len({tuple(sorted(a.items())) for a in answers}) == 1
    exam = desk.exam_of(desk.send(whole))
    steps = desk.search("Task", **{"part-of": f"Task/{exam.id}"})
    assert len(steps) == len({coded(s["code"]) for s in steps})
    kinds = ("Patient", "ServiceRequest", "Procedure", "ChargeItem")
    assert desk.counts(*kinds) == dict.fromkeys(kinds, 1)


def test_other_content_under_the_same_number(desk: Desk) -> None:
    whole = orders.bundle()
    exam = desk.exam_of(desk.send(whole))
    other = deepcopy(whole)
    other["entry"][-1]["resource"]["priority"] = "routine"
    before = desk.counts(*ALL_KINDS)
    ((where, words),) = refusal(desk.send(other), 409)
    assert where.startswith("Bundle.entry[5].resource.identifier")
    assert f"ServiceRequest/{exam.order}" in words
    number = order_of(whole)["identifier"][0]["value"]
    other["entry"][-1]["request"]["ifNoneExist"] = f"identifier={orders.ORDERS}|{number}"
    assert references(desk.send(other))["ServiceRequest"] == exam.order
    assert desk.get(f"ServiceRequest/{exam.order}")["priority"] == "urgent"  # R4: the body is ignored
    assert desk.counts(*ALL_KINDS) == before


def wrong(**animal: object) -> Json:
    return orders.bundle(orders.patient(**animal))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("whole", "where", "words"),
    [
        (wrong(species=""), "Bundle.entry[0].resource.extension", "species"),
        (wrong(species=orders.RABBIT), "Bundle.entry[0].resource.extension", "Only dogs and cats"),
        (wrong(deceasedBoolean=True), "Bundle.entry[0].resource.deceased", "dead"),
        (wrong(deceasedDateTime="2026-11-01"), "Bundle.entry[0].resource.deceased", "dead"),
        (
            orders.bundle(service="whole-body"),
            "Bundle.entry[5].resource.code",
            "fluid-check",
        ),
        (orders.bundle(service="limited"), "Bundle.entry[5].resource.bodySite", "organ"),
        (orders.bundle(status="draft"), "Bundle.entry[5].resource.status", "active"),
    ],
)
def test_what_cannot_be_ordered_is_refused_and_nothing_is_stored(
    desk: Desk, whole: Json, where: str, words: str
) -> None:
    issues = refusal(desk.send(whole), 422)
    assert any(place.startswith(where) and words in text for place, text in issues), issues
    assert desk.counts(*ALL_KINDS) == NOTHING


def test_everything_wrong_is_told_at_once_and_the_corrected_order_is_taken(desk: Desk) -> None:
    whole = orders.bundle(service="whole-body")
    spayed = {"coding": [{"system": uris.NEUTER, "code": "neutered", "display": "Spayed"}]}
    animal = whole["entry"][0]["resource"]
    animal |= {"gender": "male", "deceasedBoolean": True}
    animal["extension"] = [{"url": uris.ANIMAL, "extension": [{"url": "genderStatus", "valueCodeableConcept": spayed}]}]
    words = " ".join(text for _, text in refusal(desk.send(whole), 422))
    for part in ("species", "contradict", "dead", "Unknown order code", "fluid-check"):
        assert part in words
    assert desk.counts(*ALL_KINDS) == NOTHING
    good = orders.bundle()
    good["entry"][-1]["resource"]["identifier"] = order_of(whole)["identifier"]
    good["entry"][0]["resource"]["identifier"] = animal_of(whole)["identifier"]
    assert desk.exam_of(desk.send(good)).order


def test_no_animal(desk: Desk) -> None:
    request = orders.request("Patient/nobody")
    ((where, words),) = refusal(desk.send(request), 422)
    assert (where, "animal" in words) == ("ServiceRequest.subject", True)
    nameless = {k: v for k, v in request.items() if k != "subject"}
    assert refusal(desk.send(nameless), 400)[0][0].startswith("ServiceRequest")
    assert desk.counts(*ALL_KINDS) == NOTHING


def test_an_order_is_revoked_before_the_start(desk: Desk) -> None:
    exam = desk.place()
    request = desk.get(f"ServiceRequest/{exam.order}")
    for _ in range(2):
        assert desk.http.put(f"ServiceRequest/{exam.order}", json=request | {"status": "revoked"}).is_success
    assert desk.get(f"Task/{exam.id}")["status"] == "cancelled"
    assert {t["status"] for t in desk.steps(exam).values()} == {"cancelled"}
    assert charges(desk, exam) == {"full": "aborted"}
    assert only(desk.search("Procedure"))["status"] == "not-done"
    refusal(desk.note(exam.scanner.measured("spleen", "thickness", "14.5")), 409)
    refusal(desk.operate(exam.id, "finish", interpreter="Dr I. Reader", conclusion="x"), 409)


def test_after_the_start_it_is_not(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.note(exam.scanner.measured("spleen", "thickness", "14.5")))
    request = desk.get(f"ServiceRequest/{exam.order}")
    answer = desk.http.put(f"ServiceRequest/{exam.order}", json=request | {"status": "revoked"})
    ((_, words),) = refusal(answer, 409)
    assert "begun" in words
    assert desk.get(f"ServiceRequest/{exam.order}")["status"] == "active"
    assert charges(desk, exam) == {"full": "planned"}
