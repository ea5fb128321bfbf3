"""Over HTTP: what was documented decides which exam is charged, and words that change decide nothing."""

from typing import Any

import pytest

from service.fhir import exact, uris
from tests.builders import orders
from tests.builders.counter import lines
from tests.builders.counter_desk import AT, Desk
from tests.builders.scanner import Scanner

Json = dict[str, Any]
SIGNED = {"interpreter": "Dr I. Reader", "conclusion": "No abnormality seen."}
SPLEEN = {"bodySite": [orders.concept(uris.STRUCTURE, "spleen")]}


def placed(desk: Desk, **order: Any) -> tuple[str, Scanner]:
    """An exam and whoever scans its animal."""
    request, exam = desk.order(priority="routine", **order)
    with desk.books.view(desk.slug) as view:
        found = view.exam(exam)
    assert found is not None
    return exam, Scanner(request, found.animal, at=AT)


def send(desk: Desk, resources: list[Json]) -> None:
    body = exact.encode(orders.transaction(orders.entry(one) for one in resources))
    answer = desk.http.post("/fhir", content=body)
    assert answer.is_success, answer.text


def money(desk: Desk, exam: str) -> tuple[dict[str, str], list[Json]]:
    """(status by charge code, its invoices)."""
    with desk.books.view(desk.slug) as view:
        found = view.exam(exam)
    assert found is not None
    items = desk.http.get("/fhir/ChargeItem", params={"service": f"Procedure/{found.procedure}"}).content
    charges = [e["resource"] for e in exact.decode(items)["entry"]]
    bills = [e["resource"] for e in exact.decode(desk.http.get("/fhir/Invoice").content).get("entry", [])]
    return {c["code"]["coding"][0]["code"]: c["status"] for c in charges}, bills


def test_b06_a_limited_exam_that_documents_the_whole_is_charged_as_full_and_says_so(desk: Desk) -> None:
    whole, _ = placed(desk, service="full")
    exam, scanner = placed(desk, service="limited", **SPLEEN)
    send(desk, scanner.everything(desk.ready(whole)))
    told = desk.operate(exam, "finish", **SIGNED)
    assert told.is_success, told.text
    states, (invoice,) = money(desk, exam)
    assert states == {"limited": "aborted", "full": "billed"}
    assert lines(invoice) == {"full": ("1", "185.00")}
    found = desk.http.get("/fhir/ChargeItem", params={"code": f"{uris.CHARGE}|full", "status": "billed"}).json()
    notes = [n["text"] for n in found["entry"][0]["resource"]["note"]]
    assert "All that a full survey requires was recorded; charged as such." in notes
    again = desk.operate(exam, "finish", **SIGNED)
    assert again.content == told.content
    assert money(desk, exam) == (states, [invoice])


def test_b06_b03_a_full_survey_that_was_stopped_is_charged_as_limited_and_never_the_reverse(desk: Desk) -> None:
    exam, scanner = placed(desk, service="full")
    ready = [t for t in desk.ready(exam) if t["code"]["coding"][0]["code"] == "spleen"]
    send(desk, scanner.everything(ready))
    left = {"remaining": "compliance", "detail": "It would not lie still."}
    assert desk.operate(exam, "finish", **SIGNED, **left).is_success
    states, (invoice,) = money(desk, exam)
    assert states == {"full": "aborted", "limited": "billed"}
    assert lines(invoice) == {"limited": ("1", "98.00")}


@pytest.mark.parametrize("kind", ["amended", "corrected", "appended"])
def test_b07_whatever_is_said_anew_the_money_stays_to_the_last_byte(desk: Desk, kind: str) -> None:
    exam = desk.finished()
    before = [desk.http.get(f"/fhir/{type_}").json()["entry"] for type_ in ("Invoice", "ChargeItem")]
    said = {"status": kind, "reason": "It reads better", "by": "Dr I. Reader", "conclusion": "A recheck is advised."}
    weighed = {} if kind == "appended" else {"major": False}
    for _ in range(2):
        answer = desk.operate(exam, "amend", **said, **weighed)
        assert answer.is_success, answer.text
    after = [desk.http.get(f"/fhir/{type_}").json()["entry"] for type_ in ("Invoice", "ChargeItem")]
    assert after == before
    assert "invoice" not in desk.operate(exam, "bill", by="B. Keeper").text.lower().replace("invoiced", "")
    assert [desk.http.get(f"/fhir/{type_}").json()["entry"] for type_ in ("Invoice", "ChargeItem")] == before
