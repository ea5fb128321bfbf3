"""What is finished arrives at a record system: once, linked, with every digit; and what changes later follows it."""

from typing import Any

import pytest

from service.fhir import exact, uris
from tests.builders import orders
from tests.builders.orders import parameters
from tests.whole.telling import Desk, Exam, Json, charges, coded, decoded, only, refusal, result, taken
from tests.whole.test_finish import text_of

SENT = ("DiagnosticReport", "Observation", "ChargeItem", "Invoice", "Procedure", "Task", "Media")
AMENDED = {"status": "amended", "reason": "A second reader saw more.", "by": "Dr S. Reader", "major": False}
WITHDRAWN = {"reason": "Wrong animal.", "by": "Dr I. Reader"}


def told(desk: Desk, *, chip: str = "", measured: str = "0.40") -> tuple[Exam, Json]:
    """A small exam, finished and delivered to a record system that knows the order and all who belong to it."""
    whole = orders.bundle(
        orders.patient(chip), service="limited", bodySite=[orders.concept(uris.STRUCTURE, "gallbladder")]
    )
    desk.known_there(whole)
    exam = desk.place(whole)
    taken(desk.note(exam.scanner.measured("gallbladder", "wall-thickness", measured, plane="long")))
    desk.survey(exam)
    finished = desk.finish(exam)
    desk.delivered()
    return exam, finished


def arrived(desk: Desk, reference: str) -> Json:
    """The record system's copy of a resource of ours, of which it has one."""
    type_, _, id_ = reference.partition("/")
    return only(desk.there(type_, identifier=f"{uris.ID}|{id_}"))


def targets(value: Any) -> list[str]:
    """Every literal reference in a resource."""
    if isinstance(value, list):
        return [t for one in value for t in targets(one)]
    if not isinstance(value, dict):
        return []
    own = [value["reference"]] if isinstance(value.get("reference"), str) else []
    return own + [t for one in value.values() for t in targets(one)]


def unversioned(resource: Json) -> Json:
    """A resource without what only its holder knows of it."""
    return {k: v for k, v in resource.items() if k not in {"id", "meta", "identifier"}}


def test_report_charges_and_invoice_arrive_once_and_all_references_lead_somewhere(desk: Desk) -> None:
    exam, finished = told(desk)
    sent = {kind: desk.search(kind) for kind in SENT}
    here = [r for kind in SENT for r in sent[kind] if kind != "Task" or r["id"] == exam.id]
    copies = [arrived(desk, f"{r['resourceType']}/{r['id']}") for r in here]
    assert {kind: len(desk.there(kind)) for kind in SENT} == {k: len(v) for k, v in sent.items()} | {"Task": 1}
    for copy in copies:
        for target in targets(copy):
            assert desk.records.get(target).is_success, (copy["resourceType"], target)
    report, invoice = arrived(desk, finished["report"]), arrived(desk, finished["invoice"])
    order = only(desk.there("ServiceRequest"))  # it has the one that it placed, and no other
    assert report["basedOn"][0]["reference"] == f"ServiceRequest/{order['id']}"
    assert report["subject"]["reference"] == f"Patient/{only(desk.there('Patient'))['id']}"
    assert invoice["recipient"]["reference"] == f"RelatedPerson/{only(desk.there('RelatedPerson'))['id']}"
    charge = only(desk.there("ChargeItem"))
    assert invoice["lineItem"][0]["chargeItemReference"]["reference"] == f"ChargeItem/{charge['id']}"
    assert invoice["totalGross"] == desk.get(finished["invoice"])["totalGross"]


def test_every_digit_arrives(desk: Desk) -> None:
    _, finished = told(desk, measured="0.40")
    (there,) = [o for o in desk.there("Observation") if "valueQuantity" in o]
    assert b'"value":0.40,' in desk.records.get(f"Observation/{there['id']}").content
    report = desk.get(finished["report"])
    assert "0.40 mm" in text_of(report)
    assert arrived(desk, finished["report"])["presentedForm"] == report["presentedForm"]
    (post,) = desk.instance.books.deliveries(desk.slug)
    body = desk.instance.books.post_body(desk.slug, post.id) or b""
    assert b'"value":0.40,' in body
    invoice = arrived(desk, finished["invoice"])
    assert str(invoice["totalNet"]["value"]) == "98.00"


def test_a_replay_makes_nothing_twice_and_leaves_the_record_of_what_happened(desk: Desk) -> None:
    told(desk)
    before = {kind: len(desk.there(kind)) for kind in SENT}
    books = desk.instance.books
    (post,) = books.deliveries(desk.slug)
    first = books.attempts(desk.slug, post.id)
    body = books.post_body(desk.slug, post.id)
    books.replay(desk.slug, post.id, by="a test")
    desk.delivered()
    after = books.attempts(desk.slug, post.id)
    assert after[: len(first)] == first
    assert [a.status for a in after if a.status] == [200, 200]
    assert {kind: len(desk.there(kind)) for kind in SENT} == before
    assert books.post_body(desk.slug, post.id) == body


@pytest.mark.parametrize("chip", ["A+1 & 50%", "O'Hara, J.|2$\\3", "größe 7#?"])
def test_business_numbers_with_marks_in_them_still_name_the_animal(desk: Desk, chip: str) -> None:
    told(desk, chip=chip)
    assert only(desk.there("Patient"))["identifier"][0]["value"] == chip


def test_what_the_record_system_cannot_take_is_a_dead_letter_with_its_words(desk: Desk) -> None:
    exam = desk.place(service="fluid-check")  # of an animal that the record system never heard of
    desk.survey(exam)
    desk.finish(exam)
    with pytest.raises(AssertionError, match="finished is dead"):
        desk.delivered()
    books = desk.instance.books
    (post,) = books.deliveries(desk.slug, state="dead")
    (attempt,) = books.attempts(desk.slug, post.id)
    assert attempt.status is not None
    assert 400 <= attempt.status < 500
    assert "OperationOutcome" in attempt.answer
    assert desk.there("DiagnosticReport") == []


def test_an_amended_report_is_the_next_version_here_and_there_and_costs_nothing(desk: Desk) -> None:
    exam, finished = told(desk)
    said = {**AMENDED, "conclusion": "A small polyp of the gallbladder."}
    first = result(taken(desk.operate(exam.id, "amend", **said)))
    assert result(taken(desk.operate(exam.id, "amend", **said))) == first
    assert (first["report"], first["version"]) == (finished["report"], ["2"])
    assert first["change"]
    report = desk.get(finished["report"])
    assert (report["status"], report["meta"]["versionId"]) == ("amended", "2")
    words = text_of(report)
    for part in (
        "A small polyp of the gallbladder.",
        "A second reader saw more.",
        "Dr S. Reader",
        "No abnormality seen.",
    ):
        assert part in words, part
    assert desk.http.get(f"{finished['report']}/_history/1").json()["status"] == "final"
    desk.delivered()
    there = arrived(desk, finished["report"])
    assert (there["status"], there["meta"]["versionId"]) == ("amended", "2")
    assert charges(desk, exam) == {"limited": "billed"}
    assert (len(desk.search("Invoice")), len(desk.there("Invoice"))) == (1, 1)
    assert [p.event for p in desk.instance.books.deliveries(desk.slug)] == ["amended", "finished"]


def test_one_amendment_follows_another_and_an_overtaken_one_again_is_told_so(desk: Desk) -> None:
    exam, finished = told(desk)
    first, second = ({**AMENDED, "conclusion": words} for words in ("A polyp.", "Sludge, no polyp."))
    answers = [result(taken(desk.operate(exam.id, "amend", **said))) for said in (first, first, second, second)]
    assert [a["version"] for a in answers] == [["2"], ["2"], ["3"], ["3"]]
    ((_, words),) = refusal(desk.operate(exam.id, "amend", **first), 409)  # in silence it would pass for a change back
    assert "issued as version 2" in words
    assert desk.get(finished["report"])["conclusion"].startswith("Sludge, no polyp.")
    back = {**first, "reason": "It was a polyp after all."}
    assert result(taken(desk.operate(exam.id, "amend", **back)))["version"] == ["4"]
    desk.delivered()
    assert arrived(desk, finished["report"])["conclusion"].startswith("A polyp.")


def test_a_measurement_is_corrected_by_an_amendment(desk: Desk) -> None:
    exam, finished = told(desk, measured="4.00")
    (wrong,) = [o for o in desk.search("Observation") if "valueQuantity" in o]
    right = {**wrong, "valueQuantity": {**wrong["valueQuantity"], "value": exact.decode(b"0.40")}}
    said = {"status": "corrected", "major": False, "reason": "A slip of the decimal point.", "by": "Dr I. Reader"}
    body = parameters({**said, "observation": right})
    told_ = result(taken(desk.http.post(f"Task/{exam.id}/$amend", content=exact.encode(body))))
    assert told_["version"] == ["2"]
    stored = desk.get(f"Observation/{wrong['id']}")
    assert (stored["status"], str(stored["valueQuantity"]["value"])) == ("corrected", "0.40")
    words = text_of(desk.get(finished["report"]))
    assert "0.40 mm" in words
    desk.delivered()
    there = arrived(desk, f"Observation/{wrong['id']}")
    assert str(there["valueQuantity"]["value"]) == "0.40"


def test_what_is_no_amendment(desk: Desk) -> None:
    exam = desk.place(service="fluid-check")
    refusal(desk.operate(exam.id, "amend", **AMENDED, conclusion="x"), 409)
    desk.survey(exam)
    desk.finish(exam)
    missing = {where.partition("='")[2].rstrip("')") for where, _ in refusal(desk.operate(exam.id, "amend"), 422)}
    assert {"status", "reason", "by"} <= missing
    refusal(desk.operate(exam.id, "amend", **(AMENDED | {"status": "final"}), conclusion="x"), 422)
    refusal(desk.operate(exam.id, "amend", **AMENDED), 422)
    ((_, words),) = refusal(desk.operate(exam.id, "amend", **AMENDED, conclusion="No abnormality seen."), 422)
    assert "read the same" in words
    stranger = {"resourceType": "Observation", "id": "stranger", "status": "final", "code": {"text": "x"}}
    refusal(desk.operate(exam.id, "amend", **AMENDED, observation=stranger), 422)
    assert desk.get(f"Task/{exam.id}")["status"] == "completed"
    assert only(desk.search("DiagnosticReport"))["meta"]["versionId"] == "1"


def test_a_withdrawn_exam_is_in_error_here_and_there_and_its_money_comes_to_nothing(desk: Desk) -> None:
    exam, finished = told(desk)
    issued = desk.get(finished["invoice"])
    answers = [result(taken(desk.operate(exam.id, "withdraw", **WITHDRAWN))) for _ in range(2)]
    assert answers[0] == answers[1]
    refusal(desk.operate(exam.id, "withdraw", **(WITHDRAWN | {"reason": "Another."})), 409)
    for kind in ("DiagnosticReport", "Observation", "Procedure", "ChargeItem", "Task"):
        assert {r["status"] for r in desk.search(kind)} == {"entered-in-error"}, kind
    assert desk.get(f"ServiceRequest/{exam.order}")["status"] == "active"  # the requester's own
    credit = desk.get(answers[0]["credit"])
    assert desk.get(finished["invoice"]) == issued  # never edited
    assert coded(credit["type"]) == "credit"
    for total in ("totalNet", "totalGross"):
        assert credit[total]["value"] + issued[total]["value"] == 0
    credited = next(x["valueReference"]["reference"] for x in credit["extension"] if x["url"] == uris.X_CREDITS)
    assert credited == finished["invoice"]
    desk.delivered()
    assert arrived(desk, finished["report"])["status"] == "entered-in-error"
    invoices = {coded(i["type"]): i for i in desk.there("Invoice")}
    assert sum(i["totalGross"]["value"] for i in invoices.values()) == 0
    assert {i["status"] for i in invoices.values()} == {"issued"}
    named = next(x["valueReference"] for x in invoices["credit"]["extension"] if x["url"] == uris.X_CREDITS)
    assert named.get("reference") == f"Invoice/{invoices['invoice']['id']}" or (
        named["identifier"]["value"] == issued["id"]
    )
    refusal(desk.operate(exam.id, "amend", **AMENDED, conclusion="x"), 409)
    refusal(desk.note(exam.scanner.measured("gallbladder", "wall-thickness", "1.0")), 409)


def test_an_open_exam_is_withdrawn_too(desk: Desk) -> None:
    exam = desk.place(service="fluid-check")
    taken(desk.note(exam.scanner.shown("peritoneum", "multi")))
    missing = {where.partition("='")[2].rstrip("')") for where, _ in refusal(desk.operate(exam.id, "withdraw"), 422)}
    assert missing == {"reason", "by"}
    taken(desk.operate(exam.id, "withdraw", **WITHDRAWN))
    assert desk.get(f"Task/{exam.id}")["status"] == "failed"
    assert charges(desk, exam) == {"fluid-check": "entered-in-error"}
    refusal(desk.operate(exam.id, "finish", interpreter="Dr I. Reader", conclusion="x"), 409)
    assert decoded(desk.http.get("Invoice"))["total"] == 0
