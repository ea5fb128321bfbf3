"""What only an action may do is done on no other way: PUT, PATCH, alone, in a batch and in a transaction."""

import base64
from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest

from service.fhir import exact, uris
from tests.builders import orders
from tests.whole.telling import Desk, Exam, decoded, only, taken

pytestmark = pytest.mark.sqlite_first

Json = dict[str, Any]
PATCH = "application/json-patch+json"
Way = Callable[[Desk, str, Json, str], int]


def _put(desk: Desk, at: str, whole: Json, element: str) -> int:
    etag = f'W/"{whole["meta"]["versionId"]}"'
    return desk.http.put(at, content=exact.encode(whole), headers={"If-Match": etag}).status_code


def _patch(desk: Desk, at: str, whole: Json, element: str) -> int:
    headers = {"If-Match": f'W/"{whole["meta"]["versionId"]}"', "Content-Type": PATCH}
    return desk.http.patch(at, content=exact.encode(_operations(whole, element)), headers=headers).status_code


def _bundled(kind: str, method: str) -> Way:
    def send(desk: Desk, at: str, whole: Json, element: str) -> int:
        data = base64.b64encode(exact.encode(_operations(whole, element))).decode()
        body = whole if method == "PUT" else {"resourceType": "Binary", "contentType": PATCH, "data": data}
        request = {"method": method, "url": at, "ifMatch": f'W/"{whole["meta"]["versionId"]}"'}
        bundle = {"resourceType": "Bundle", "type": kind, "entry": [{"resource": body, "request": request}]}
        answer = desk.http.post("", content=exact.encode(bundle))
        if kind == "transaction" or answer.status_code != 200:
            return answer.status_code
        return int(exact.decode(answer.content)["entry"][0]["response"]["status"][:3])

    return send


def _operations(whole: Json, element: str) -> list[Json]:
    return [{"op": "add", "path": f"/{element}", "value": whole[element]}]


WAYS: dict[str, Way] = {
    "PUT": _put,
    "PATCH": _patch,
    "PUT in a transaction": _bundled("transaction", "PUT"),
    "PUT in a batch": _bundled("batch", "PUT"),
    "PATCH in a transaction": _bundled("transaction", "PATCH"),
    "PATCH in a batch": _bundled("batch", "PATCH"),
}


def everything(desk: Desk) -> list[Json]:
    """All versions there are, but of what the service itself finds to be asked about billing, whenever it looks."""
    pages = (decoded(taken(desk.http.get(f"{t}/_history?_count=500"))) for t in TYPES)
    found = [e["resource"] for page in pages for e in page.get("entry", [])]
    return [r for r in found if uris.BILLING_EXCEPTION not in str(r.get("code"))]


TYPES = ("Task", "DiagnosticReport", "Invoice", "ChargeItem", "Observation", "Procedure", "ServiceRequest", "Patient")


@pytest.fixture
def open_exam(desk: Desk) -> Exam:
    return desk.place(service="fluid-check")


@pytest.fixture
def finished(desk: Desk, open_exam: Exam) -> Iterator[tuple[Desk, Exam]]:
    desk.survey(open_exam)
    desk.finish(open_exam)
    return desk, open_exam


def refused(desk: Desk, whole: Json, element: str, value: Any) -> None:
    """No way leads there, and nothing is left of trying."""
    before = everything(desk)
    changed = {**whole, element: value}
    at = f"{whole['resourceType']}/{whole['id']}"
    told = {name: way(desk, at, changed, element) for name, way in WAYS.items()}
    assert set(told.values()) <= {409, 422}, told
    assert everything(desk) == before


def test_an_exam_is_not_finished_by_writing_it(desk: Desk, open_exam: Exam) -> None:
    task = desk.get(f"Task/{open_exam.id}")
    refused(desk, task, "status", "completed")
    step = next(iter(desk.steps(open_exam).values()))
    refused(desk, step, "status", "completed")
    order = f"ServiceRequest/{open_exam.order}"
    for link in (order, f"{order}/_history/1", f"{desk.instance.url}/fhir/{order}"):
        report = {"resourceType": "DiagnosticReport", "status": "final", "code": {"text": "Report"}}
        answer = desk.send({**report, "basedOn": [{"reference": link}]})
        assert answer.status_code == 409, answer.text
    assert desk.search("DiagnosticReport") == []


def test_no_report_comes_with_its_order(desk: Desk) -> None:
    whole = orders.bundle(orders.patient(species="dog"), service="fluid-check")
    order = whole["entry"][-1]
    for extra in (
        {"resourceType": "DiagnosticReport", "status": "final", "code": {"text": "x"}, "basedOn": "@"},
        {"resourceType": "Task", "status": "completed", "intent": "order", "focus": "@"},
        {"resourceType": "Procedure", "status": "completed", "subject": {"display": "x"}, "basedOn": "@"},
    ):
        link: Any = {"reference": order["fullUrl"]}
        resource = {k: ([link] if k == "basedOn" else link) if v == "@" else v for k, v in extra.items()}
        answer = desk.send({**whole, "entry": [*whole["entry"], orders.entry(resource)]})
        assert answer.status_code == 409, answer.text
        assert f"Bundle.entry[{len(whole['entry'])}]" in answer.text
    assert desk.counts("Patient", "Task", "DiagnosticReport") == {"Patient": 0, "Task": 0, "DiagnosticReport": 0}


def test_what_is_finished_stays_finished(finished: tuple[Desk, Exam]) -> None:
    desk, exam = finished
    refused(desk, desk.get(f"Task/{exam.id}"), "status", "in-progress")
    report = only(desk.search("DiagnosticReport"))
    refused(desk, report, "conclusion", "Something else.")
    refused(desk, report, "status", "preliminary")
    invoice = only(desk.search("Invoice"))
    refused(desk, invoice, "status", "draft")
    refused(desk, invoice, "identifier", [{"system": "urn:invented", "value": "1"}])
    refused(desk, only(desk.search("ChargeItem")), "status", "billable")
    refused(desk, only(desk.search("Procedure")), "status", "preparation")
    for seen in desk.search("Observation")[:2]:
        refused(desk, seen, "status", "cancelled")
        refused(desk, seen, "note", [{"text": "after the fact"}])
    refused(desk, desk.get(f"ServiceRequest/{exam.order}"), "subject", {"reference": "Patient/another"})
    assert desk.http.delete(f"Patient/{exam.animal}").status_code == 409


def test_an_exam_is_not_billed_twice(finished: tuple[Desk, Exam]) -> None:
    desk, _ = finished
    before = everything(desk)
    charge, procedure = only(desk.search("ChargeItem")), only(desk.search("Procedure"))
    mine = {"resourceType": "ChargeItem", "status": "billable", "code": {"text": "Scan"}, "subject": charge["subject"]}
    for service in (f"Procedure/{procedure['id']}", f"DiagnosticReport/{only(desk.search('DiagnosticReport'))['id']}"):
        assert desk.send({**mine, "service": [{"reference": service}]}).status_code == 409
    again = {k: v for k, v in charge.items() if k not in {"id", "meta"}}
    assert desk.send(again).status_code == 409
    line = {"chargeItemReference": {"reference": f"ChargeItem/{charge['id']}"}}
    bill = {"resourceType": "Invoice", "status": "issued", "lineItem": [line]}
    single: httpx.Response = desk.send(bill)
    batch = desk.send({"resourceType": "Bundle", "type": "batch", "entry": [orders.entry(bill)]})
    assert single.status_code == 409
    assert exact.decode(batch.content)["entry"][0]["response"]["status"] == "409"
    assert everything(desk) == before
