"""An animal referred over HTTP: ordered, received, decided, examined, reported, amended; each seen at the clinic."""

from typing import Any

import pytest

from service.commands import referral as listing
from service.fhir import uris
from tests.builders import orders
from tests.builders.orders import concept
from tests.builders.scanner import AT, Scanner
from tests.builders.survey import mappings
from tests.referral.conftest import Meet, Sides
from tests.whole.telling import Desk, Exam, Json, coded, only, references, refusal, result, taken


def refer(sides: Sides, animal: Json | None = None, **order: Any) -> str:
    """The id of an order of the clinic to the hospital."""
    to = {"performer": [{"identifier": {"system": uris.ORGANIZATION, "value": sides.hospital.slug}}], **order}
    answer = sides.clinic.send(orders.bundle(animal, **{"service": "fluid-check", **to}))
    return references(taken(answer))["ServiceRequest"]


def referral(desk: Desk) -> Json:
    """The one referral of a side."""
    return only(desk.search("Task", code=f"{uris.TASK_CODE}|referral"))


def standing(desk: Desk) -> tuple[str, str]:
    task = referral(desk)
    return task["status"], coded(task["businessStatus"])


def accepted(sides: Sides, **order: Any) -> Exam:
    """The exam of an order that the hospital accepted."""
    refer(sides, **order)
    sides.carry()
    return accepted_of(sides)


def accepted_of(sides: Sides) -> Exam:
    """The exam of what was referred already, accepted."""
    task = referral(sides.hospital)
    told = result(taken(sides.hospital.operate(task["id"], "referral", decision="accept", by="Front desk")))
    order = task["focus"]["reference"].partition("/")[2]
    animal = task["for"]["reference"].partition("/")[2]
    return Exam(order, animal, told["exam"].partition("/")[2], Scanner(order, animal, at=AT))


def test_a_referral_is_received_decided_examined_and_reported(meet: Meet) -> None:
    sides = meet()
    refer(sides)
    assert standing(sides.clinic) == ("requested", "sent")
    assert sides.clinic.search("Task", code=f"{uris.TASK_FULFIL}|fulfill") == []
    sides.carry()
    assert sides.dead() == []
    assert standing(sides.hospital) == ("received", "received")
    assert standing(sides.clinic) == ("received", "received")
    assert sides.hospital.search("Task", code=f"{uris.TASK_FULFIL}|fulfill") == []


def test_the_clinic_follows_its_referral_to_the_report(meet: Meet) -> None:
    sides = meet()
    exam = accepted(sides)
    sides.carry()
    assert standing(sides.clinic) == ("accepted", "accepted")
    task = referral(sides.hospital)
    taken(
        sides.hospital.operate(task["id"], "referral", decision="schedule", by="Front desk", at="2026-12-01T09:00:00Z")
    )
    sides.carry()
    assert standing(sides.clinic) == ("accepted", "scheduled")
    assert referral(sides.clinic)["restriction"]["period"]["start"] == "2026-12-01T09:00:00Z"
    sides.hospital.survey(exam)
    sides.carry()
    assert standing(sides.clinic) == ("in-progress", "in-progress")
    sides.hospital.finish(exam)
    sides.carry()
    assert sides.dead() == []
    assert standing(sides.clinic) == ("completed", "reported")
    report = only(sides.clinic.search("DiagnosticReport"))
    theirs = sides.clinic.get(report["basedOn"][0]["reference"])
    assert theirs["id"] == referral(sides.clinic)["focus"]["reference"].partition("/")[2]
    assert report["subject"]["reference"] == theirs["subject"]["reference"]
    assert {f["contentType"].partition(";")[0] for f in report["presentedForm"]} >= {"text/plain", "text/html"}
    assert sides.clinic.search("ChargeItem") == sides.clinic.search("Invoice") == []
    assert sides.clinic.search("Observation")
    said = {"status": "corrected", "reason": "A word.", "by": "Reader", "conclusion": "Better said.", "major": False}
    taken(sides.hospital.operate(exam.id, "amend", **said))
    sides.carry()
    assert only(sides.clinic.search("DiagnosticReport"))["status"] == "corrected"
    taken(sides.hospital.operate(exam.id, "withdraw", reason="Wrong animal.", by="Reader"))
    sides.carry()
    assert sides.dead() == []
    assert only(sides.clinic.search("DiagnosticReport"))["status"] == "entered-in-error"
    assert standing(sides.clinic) == ("entered-in-error", "withdrawn")


def test_without_an_agreement_an_order_to_another_organisation_is_refused_in_words(meet: Meet) -> None:
    sides = meet(terms=None)
    to = {"performer": [{"identifier": {"system": uris.ORGANIZATION, "value": sides.hospital.slug}}]}
    known = refusal(sides.clinic.send(orders.bundle(service="fluid-check", **to)), 422)
    to["performer"][0]["identifier"]["value"] = "nobody-at-all"
    unknown = refusal(sides.clinic.send(orders.bundle(service="fluid-check", **to)), 422)
    assert [words for _, words in known] == [words for _, words in unknown]  # whether it is there stays untold
    assert "agreement" in known[0][1]
    assert sides.clinic.counts("ServiceRequest", "Task") == {"ServiceRequest": 0, "Task": 0}


def test_a_referral_is_rejected_with_a_reason_by_somebody_named(meet: Meet) -> None:
    sides = meet()
    refer(sides)
    sides.carry()
    task = referral(sides.hospital)["id"]
    issues = refusal(sides.hospital.operate(task, "referral", decision="reject"), 422)
    assert len(issues) == 2
    taken(sides.hospital.operate(task, "referral", decision="reject", by="Front desk", reason="No room this week."))
    taken(sides.hospital.operate(task, "referral", decision="reject", by="Front desk", reason="No room this week."))
    sides.carry()
    assert standing(sides.clinic) == ("rejected", "rejected")
    assert referral(sides.clinic)["statusReason"]["text"] == "No room this week."
    assert refusal(sides.hospital.operate(task, "referral", decision="accept", by="Front desk"), 409)
    assert sides.hospital.search("Task", code=f"{uris.TASK_FULFIL}|fulfill") == []


def test_the_same_post_twice_is_one_referral(meet: Meet) -> None:
    sides = meet()
    refer(sides)
    sides.carry()
    before = sides.hospital.counts("Task", "Patient", "ServiceRequest", "RelatedPerson", "Organization")
    (post,) = sides.books.deliveries(sides.clinic.slug)
    sides.books.replay(sides.clinic.slug, post.id, by="Somebody")
    sides.carry()
    assert sides.hospital.counts(*before) == before
    assert sides.books.attempts(sides.clinic.slug, post.id)[-1].reason == "taken over before"


CHIP = concept(uris.IDENTIFIER_TYPE, "MCN")


def chipped(chip: str, **more: Any) -> Json:
    """An animal with a microchip number."""
    animal = orders.patient(**more)
    return animal | {"identifier": [*animal["identifier"], {"type": CHIP, "system": "urn:chips", "value": chip}]}


def owned(bundle: Json, number: str) -> Json:
    """The order, its owner known by a number that both sides use."""
    for one in bundle["entry"]:
        if one["resource"]["resourceType"] == "RelatedPerson":
            one["resource"]["identifier"][0]["value"] = number
            one["request"]["ifNoneExist"] = f"identifier={orders.PEOPLE}|{number}"
    return bundle


def known_here(sides: Sides, chip: str, owner: str) -> str:
    """The hospital's own animal, which was there before."""
    whole = owned(orders.bundle(chipped(chip), service="fluid-check"), owner)
    return references(taken(sides.hospital.send(whole)))["Patient"]


def told_of(sides: Sides, chip: str, owner: str) -> Json:
    """The hospital's Task of a referral of such an animal."""
    to = [{"identifier": {"system": uris.ORGANIZATION, "value": sides.hospital.slug}}]
    whole = owned(orders.bundle(chipped(chip), service="fluid-check", performer=to), owner)
    taken(sides.clinic.send(whole))
    sides.carry()
    return referral(sides.hospital)


def test_an_animal_whose_chip_and_owner_both_agree_is_the_one_known_here(meet: Meet) -> None:
    sides = meet()
    here = known_here(sides, "276098100000001", "owner-1")
    task = told_of(sides, "276098100000001", "owner-1")
    assert task["for"]["reference"] == f"Patient/{here}"
    order = sides.hospital.get(task["focus"]["reference"])
    assert order["subject"]["reference"] == f"Patient/{here}"
    told = result(taken(sides.hospital.operate(task["id"], "referral", decision="accept", by="Front desk")))
    assert sides.hospital.get(told["exam"])["for"]["reference"] == f"Patient/{here}"
    links = {link["type"] for link in sides.hospital.get(f"Patient/{here}")["link"]}
    assert links == {"replaces"}
    exam = Exam(order["id"], here, told["exam"].partition("/")[2], Scanner(order["id"], here, at=AT))
    sides.hospital.survey(exam)
    sides.hospital.finish(exam)
    sides.carry()
    assert sides.dead() == []
    report = only(sides.clinic.search("DiagnosticReport"))
    assert report["subject"]["reference"] == referral(sides.clinic)["for"]["reference"]
    assert sides.clinic.get(report["subject"]["reference"])["identifier"][1]["value"] == "276098100000001"


def test_a_half_match_is_a_persons_to_decide_and_nothing_is_accepted_before(meet: Meet) -> None:
    sides = meet()
    here = known_here(sides, "276098100000002", "owner-2")
    task = told_of(sides, "276098100000002", "owner-of-another")
    doubt = only(sides.hospital.search("Task", code=f"{uris.TASK_CODE}|referral-animal", status="requested"))
    assert doubt["description"] == "Chip and name and species agree, but owner not."
    assert here in str(doubt["input"])
    issues = refusal(sides.hospital.operate(task["id"], "referral", decision="accept", by="Front desk"), 409)
    assert doubt["id"] in issues[0][1]
    assert len(refusal(sides.hospital.operate(doubt["id"], "referral-animal", decision="same"), 422)) == 2
    said = {"decision": "same", "by": "Dr I. Known", "patient": f"Patient/{here}", "reason": "Sold in spring."}
    taken(sides.hospital.operate(doubt["id"], "referral-animal", **said))
    taken(sides.hospital.operate(doubt["id"], "referral-animal", **said))
    assert refusal(sides.hospital.operate(doubt["id"], "referral-animal", decision="other", by="Dr I. Known"), 409)
    taken(sides.hospital.operate(task["id"], "referral", decision="accept", by="Front desk"))
    assert sides.hospital.get(f"Task/{task['id']}")["for"]["reference"] == f"Patient/{here}"
    again = sides.hospital.get(f"Task/{doubt['id']}")
    assert again["status"] == "completed"
    assert again["note"][0]["authorString"] == "Dr I. Known"


@pytest.mark.full
def test_an_animal_said_to_be_none_that_is_known_is_one_of_its_own(meet: Meet) -> None:
    sides = meet()
    here = known_here(sides, "276098100000003", "owner-3")
    task = told_of(sides, "276098100000003", "owner-elsewhere")
    doubt = only(sides.hospital.search("Task", code=f"{uris.TASK_CODE}|referral-animal"))
    taken(sides.hospital.operate(doubt["id"], "referral-animal", decision="other", by="Dr I. Known"))
    told = result(taken(sides.hospital.operate(task["id"], "referral", decision="accept", by="Front desk")))
    assert sides.hospital.get(told["exam"])["for"]["reference"] != f"Patient/{here}"


def test_what_waits_for_somebody_is_listed(meet: Meet, capsys: pytest.CaptureFixture[str]) -> None:
    sides = meet()
    listing.list_(sides.books, mappings(), sides.hospital.slug)
    assert capsys.readouterr().out.splitlines()[-1] == "no referral waits for anybody"
    known_here(sides, "276098100000009", "owner-9")
    task = told_of(sides, "276098100000009", "owner-of-another")
    capsys.readouterr()
    listing.list_(sides.books, mappings(), sides.hospital.slug)
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 3
    assert "but owner not" in " ".join(lines)
    assert f"Task/{task['id']}" in " ".join(lines)
