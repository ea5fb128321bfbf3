"""$finish over HTTP: refused while anything is owed, and then report, charges and invoice at once, exactly once."""

import base64
import json
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from service.fhir import exact, uris
from tests.builders.orders import parameters
from tests.whole.telling import Desk, Exam, Json, charges, coded, decoded, only, refusal, result, taken

SIGNED = {"interpreter": "Dr I. Reader", "conclusion": "No abnormality seen."}


def surveyed(desk: Desk, **order: Any) -> Exam:
    exam = desk.place(**{"service": "fluid-check", **order})
    desk.survey(exam)
    return exam


def text_of(report: Json, kind: str = "text/plain") -> str:
    form = next(f for f in report["presentedForm"] if f["contentType"].startswith(kind))
    return base64.b64decode(form["data"]).decode()


def test_while_anything_is_owed_each_thing_is_an_issue(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.settle(exam, "common_bile_duct", disposition="deferred", window="right intercostal"))
    owed = [(code, item) for code, items in desk.owed(exam).items() for item in items]
    issues = refusal(desk.operate(exam.id, "finish", **SIGNED), 422)
    assert len(issues) == len(owed) > 100
    titles = " ".join(words for _, words in issues)
    assert "Left kidney: Measurement: length" in titles
    assert "Deferred to right intercostal" in titles
    both = refusal(desk.operate(exam.id, "finish"), 422)
    assert len(both) == len(owed) + 2  # who signs and what is concluded are missing too
    assert desk.counts("DiagnosticReport", "Invoice") == {"DiagnosticReport": 0, "Invoice": 0}
    assert charges(desk, exam) == {"full": "planned"}


def test_a_surveyed_exam_ends_in_one_transaction_with_all_that_belongs_to_it(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.note(exam.scanner.measured("gallbladder", "wall-thickness", "0.40", plane="long")))
    desk.survey(exam)
    told = desk.finish(exam)
    report, invoice = desk.get(told["report"]), desk.get(told["invoice"])
    assert (report["status"], report["basedOn"][0]["reference"]) == ("final", f"ServiceRequest/{exam.order}")
    assert report["conclusion"] == "No abnormality seen."
    for part in ("Quillfeather", "R. Ownwell", "Dr R. Ferrer", "obstruction", "Vomiting", "Dr I. Reader", "0.40 mm"):
        assert part in text_of(report), part
        assert part in text_of(report, "text/html"), part
    observations = desk.search("Observation", **{"based-on": f"ServiceRequest/{exam.order}"})
    assert {o["status"] for o in observations} == {"final"}
    assert {f"Observation/{o['id']}" for o in observations} == {r["reference"] for r in report["result"]}
    procedure = only(desk.search("Procedure"))
    assert (procedure["status"], procedure["performedPeriod"]["start"]) == ("completed", exam.scanner.at)
    task = desk.get(f"Task/{exam.id}")
    assert task["status"] == "completed"
    outputs = {coded(o["type"]): o["valueReference"]["reference"] for o in task["output"] if "valueReference" in o}
    assert (outputs["report"], outputs["invoice"]) == (told["report"], told["invoice"])
    assert {t["status"] for t in desk.steps(exam).values()} == {"completed", "cancelled"}  # optional ones, not begun
    assert charges(desk, exam) == {"full": "billed"}
    assert invoice["status"] == "issued"


@pytest.mark.parametrize(
    ("reason", "charged", "procedure"),
    [
        ("time-limited", {"full": "aborted", "limited": "billed"}, "stopped"),
        ("equipment", {"full": "not-billable"}, "stopped"),
    ],
)
def test_the_rest_is_left_for_a_reason_that_decides_the_price_and_stands_in_the_report(
    desk: Desk, reason: str, charged: dict[str, str], procedure: str
) -> None:
    exam = desk.place()
    taken(desk.note(exam.scanner.measured("spleen", "thickness", "15.0", plane="long")))
    told = desk.finish(exam, remaining=reason, detail="The generator failed.")
    report = desk.get(told["report"])
    assert report["status"] == "final"
    words = text_of(report)
    assert "Left kidney" in words
    assert "(The generator failed)" in words
    assert charges(desk, exam) == charged
    assert ("invoice" in told) == ("billed" in charged.values())
    assert only(desk.search("Procedure"))["status"] == procedure
    task = desk.get(f"Task/{exam.id}")
    assert coded(task["statusReason"]) == reason
    stands = {code: coded(t["businessStatus"]) for code, t in desk.steps(exam).items()}
    assert (stands["spleen"], stands["kidney_left"]) == ("seen-part", "not-seen")


@pytest.mark.parametrize("reason", ["gas", "boredom", "not-examined"])
def test_the_rest_is_not_left_for_any_reason(desk: Desk, reason: str) -> None:
    exam = desk.place(service="fluid-check")
    issues = refusal(desk.operate(exam.id, "finish", **SIGNED, remaining=reason), 422)
    assert any("time-limited" in words for _, words in issues)
    assert desk.get(f"Task/{exam.id}")["status"] == "accepted"


def test_finishing_twice_gives_the_same_and_other_content_is_refused(desk: Desk) -> None:
    exam = surveyed(desk)
    first, again = (taken(desk.operate(exam.id, "finish", **SIGNED)) for _ in range(2))
    assert decoded(first) == decoded(again)
    shuffled = json.dumps({"parameter": parameters(SIGNED)["parameter"], "resourceType": "Parameters"}, indent=1)
    assert decoded(taken(desk.http.post(f"Task/{exam.id}/$finish", content=shuffled))) == decoded(first)
    ((_, words),) = refusal(desk.operate(exam.id, "finish", **(SIGNED | {"conclusion": "Something else."})), 409)
    assert "$amend" in words
    kinds = ("DiagnosticReport", "Invoice", "ChargeItem", "Procedure")
    assert desk.counts(*kinds) == dict.fromkeys(kinds, 1)


def test_twenty_at_once_give_one_report_one_invoice_and_the_same_answer(desk: Desk) -> None:
    exam = surveyed(desk)

    def finish(_: int) -> bytes:
        with desk.instance.client(desk.http.headers["Authorization"][7:], judged=False) as caller:
            return taken(caller.post(f"Task/{exam.id}/$finish", content=exact.encode(parameters(SIGNED)))).content

    with ThreadPoolExecutor(20) as callers:
        answers = set(callers.map(finish, range(20)))
    assert len(answers) == 1
    kinds = ("DiagnosticReport", "Invoice", "ChargeItem")
    assert desk.counts(*kinds) == dict.fromkeys(kinds, 1)
    assert len(desk.instance.books.deliveries(desk.slug)) == 1
    assert desk.get(f"Task/{exam.id}")["meta"]["versionId"] == "3"  # accepted, begun, completed


def test_a_finished_exam_takes_nothing_more_and_points_to_amending(desk: Desk) -> None:
    exam = surveyed(desk)
    told = desk.finish(exam)
    before = desk.counts("Observation", "Media", "Task")
    for answer in (
        desk.note(exam.scanner.measured("peritoneum", "pocket-depth", "3.0")),
        desk.note(exam.scanner.shown("peritoneum", "multi"), exam.scanner.shown("peritoneum", "multi")),
        desk.settle(exam, "peritoneum", disposition="not-seen", reason="gas"),
        desk.settle(exam, "peritoneum", retract=True),
    ):
        assert any("$amend" in words for _, words in refusal(answer, 409)), answer.text
    observation = desk.search("Observation", **{"based-on": f"ServiceRequest/{exam.order}"})[0]
    for reference in (f"Observation/{observation['id']}", *told.values()):
        whole = desk.get(reference)
        version = whole["meta"]["versionId"]
        body = exact.encode(whole | {"language": "en"})
        answer = desk.http.put(reference, content=body, headers={"If-Match": f'W/"{version}"'})
        refusal(answer, 409)
        assert desk.get(reference) == whole
    assert desk.counts("Observation", "Media", "Task") == before


def test_nobody_else_reports_charges_or_invoices_the_exam(desk: Desk) -> None:
    exam = surveyed(desk)
    order, animal = {"reference": f"ServiceRequest/{exam.order}"}, {"reference": f"Patient/{exam.animal}"}
    procedure, charge = (only(desk.search(kind)) for kind in ("Procedure", "ChargeItem"))
    by_hand = [
        {"resourceType": "Task", "status": "completed", "intent": "order", "focus": order},
        {"resourceType": "DiagnosticReport", "status": "final", "code": {"text": "x"}, "basedOn": [order]},
        {"resourceType": "Procedure", "status": "completed", "subject": animal, "basedOn": [order]},
        {
            "resourceType": "ChargeItem",
            "status": "billed",
            "code": {"text": "x"},
            "subject": animal,
            "service": [{"reference": f"Procedure/{procedure['id']}"}],
        },
        {
            "resourceType": "Invoice",
            "status": "issued",
            "lineItem": [{"chargeItemReference": {"reference": f"ChargeItem/{charge['id']}"}}],
        },
    ]
    for resource in by_hand:
        assert "belongs to an exam" in only(refusal(desk.send(resource), 409))[1]
    own = {"resourceType": "ChargeItem", "status": "billable", "code": {"text": "a bandage"}, "subject": animal}
    taken(desk.send(own))  # what the practice charges for besides is its own business
    assert lines_of(desk, desk.finish(exam)["invoice"]) == 1


def lines_of(desk: Desk, invoice: str) -> int:
    return len(desk.get(invoice)["lineItem"])


def test_what_cannot_be_finished(desk: Desk) -> None:
    exam = surveyed(desk)
    step = next(iter(desk.steps(exam).values()))["id"]
    refusal(desk.operate(step, "finish", **SIGNED), 404)
    refusal(desk.operate("nobody", "finish", **SIGNED), 404)
    ((where, _),) = refusal(desk.operate(exam.id, "finish", interpreter="Dr I. Reader"), 422)
    assert where == "Parameters.parameter.where(name='conclusion')"
    refusal(desk.http.post(f"Task/{exam.id}/$finish", content=b'{"resourceType":"Task"}'), 400)


def test_what_was_unmapped_is_told_in_the_report(desk: Desk) -> None:
    exam = desk.place(service="fluid-check")
    strange = exam.scanner.measured("peritoneum", "pocket-depth", "3.0")
    taken(desk.note(strange | {"code": {"coding": [{"system": "https://scanner.example/codes", "code": "sparkle"}]}}))
    desk.survey(exam)
    report = desk.get(desk.finish(exam)["report"])
    observations = desk.search("Observation", **{"based-on": f"ServiceRequest/{exam.order}"})
    assert len(report["result"]) == len(observations)
    assert any(c["system"] == uris.ATTRIBUTE for o in observations for c in o["code"]["coding"])
    assert result(taken(desk.operate(exam.id, "finish", **SIGNED)))["report"] == f"DiagnosticReport/{report['id']}"
