"""Samples, cystocenteses and drainages told as R4 Procedures: charged like those told by notes, and never twice."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import httpx
import pytest

from service.fhir import exact, uris
from tests.builders.counter_desk import AT, Desk
from tests.builders.orders import concept
from tests.builders.scanner import Scanner

Json = dict[str, Any]
Told = Callable[..., httpx.Response]


class Exam:
    """An exam that is being scanned."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.order, self.id = desk.order(priority="routine")
        with desk.books.view(desk.slug) as view:
            found = view.exam(self.id)
        assert found is not None
        self.own, self.scanner = found.procedure, Scanner(self.order, found.animal, at=AT)

    def tell(self, resource: Json) -> httpx.Response:
        return self.desk.http.post(
            f"/fhir/{resource['resourceType']}", content=exact.encode(self.scanner.about(resource))
        )

    def finish(self) -> dict[str, tuple[str, int]]:
        """The exam surveyed and finished; its charges: code -> (status, how often)."""
        while resources := self.scanner.everything(self.desk.ready(self.id)):
            for one in resources:
                assert self.tell(one).is_success
        told = self.desk.operate(self.id, "finish", interpreter="Dr I. Reader", conclusion="No abnormality seen.")
        assert told.is_success, told.text
        return self.charges()

    def charges(self) -> dict[str, tuple[str, int]]:
        found = self.desk.http.get("/fhir/ChargeItem", params={"service": f"Procedure/{self.own}"}).json()["entry"]
        items = [e["resource"] for e in found]
        return {i["code"]["coding"][0]["code"]: (i["status"], i["quantity"]["value"]) for i in items}


def procedure(code: str, *sites: str, status: str = "completed", **more: Any) -> Json:
    """A Procedure done at structures of our own codes."""
    places = {"bodySite": [concept(uris.STRUCTURE, s) for s in sites]} if sites else {}
    kind = concept(uris.NOTE, code)
    return {"resourceType": "Procedure", "status": status, "code": kind, "performedDateTime": AT, **places, **more}


def note(code: str, site: str = "") -> Json:
    placed = {"bodySite": concept(uris.STRUCTURE, site)} if site else {}
    kind = concept(uris.NOTE, code)
    return {"resourceType": "Observation", "status": "final", "code": kind, "valueBoolean": True, **placed}


@pytest.fixture
def exam(desk: Desk) -> Exam:
    return Exam(desk)


def test_samples_are_charged_a_site_and_procedures_each(exam: Exam) -> None:
    for one in (
        procedure("sample", "liver", "spleen"),  # one Procedure at two sites is two samples
        procedure("sample", "spleen"),  # and a second needle in one of them is none
        procedure("cystocentesis"),
        procedure("drainage", status="not-done"),
        procedure("drainage", status="in-progress"),
    ):
        assert exam.tell(one).status_code == 201
    assert exam.finish() == {"fluid-check": ("billed", 1), "sample": ("billed", 2), "cystocentesis": ("billed", 1)}
    invoice = exact.decode(exam.desk.http.get("/fhir/Invoice").content)["entry"][0]["resource"]
    assert invoice["totalNet"]["value"] == Decimal("164.00")  # 46.00 + 2 x 45.00 + 28.00
    assert exam.desk.check() == 0


def test_what_is_told_in_two_ways_was_done_once(exam: Exam) -> None:
    assert exam.tell(procedure("sample", "spleen")).is_success
    spleen = {"coding": [{"system": uris.SCT, "code": "78961009"}]}  # SNOMED CT Spleen (DICOM PS3.16 CID 4)
    assert exam.tell({**note("sample"), "bodySite": spleen}).is_success
    assert exam.tell(note("drainage")).is_success
    for _ in range(2):
        assert exam.tell(procedure("drainage")).is_success
    assert exam.finish() == {"fluid-check": ("billed", 1), "sample": ("billed", 1), "drainage": ("billed", 2)}


def test_it_can_be_completed_later_or_taken_back_until_the_exam_is_finished(exam: Exam) -> None:
    begun, wrong = (exam.tell(procedure(code, status="in-progress")).json() for code in ("cystocentesis", "drainage"))

    def put(resource: Json, status: str) -> int:
        tag = exam.desk.http.get(f"/fhir/Procedure/{resource['id']}").headers["etag"]
        body = exact.encode({**resource, "status": status})
        return exam.desk.http.put(
            f"/fhir/Procedure/{resource['id']}", content=body, headers={"If-Match": tag}
        ).status_code

    assert put(begun, "completed") == 200
    assert put(wrong, "completed") == 200
    assert put(wrong, "entered-in-error") == 200
    assert exam.finish() == {"fluid-check": ("billed", 1), "cystocentesis": ("billed", 1)}
    assert put(begun, "entered-in-error") == 409
    assert exam.tell(procedure("sample", "liver")).status_code == 409


def test_withdrawing_the_exam_withdraws_them(exam: Exam) -> None:
    made = exam.tell(procedure("sample", "liver")).json()
    exam.finish()
    assert exam.desk.operate(exam.id, "withdraw", reason="Wrong animal", by="B. Keeper").is_success
    assert exam.desk.http.get(f"/fhir/Procedure/{made['id']}").json()["status"] == "entered-in-error"
    assert set(exam.charges().values()) == {("entered-in-error", 1)}


def test_the_exam_itself_is_not_told_that_way(exam: Exam) -> None:
    own = exam.desk.http.get(f"/fhir/Procedure/{exam.own}").json()
    tag = exam.desk.http.get(f"/fhir/Procedure/{exam.own}").headers["etag"]
    taken = exact.encode({**own, "code": concept(uris.NOTE, "sample"), "status": "completed"})
    changed = exam.desk.http.put(f"/fhir/Procedure/{exam.own}", content=taken, headers={"If-Match": tag})
    assert changed.status_code == 409
    assert exam.tell(procedure("doppler")).status_code == 409  # a note, and no procedure
    assert exam.tell({**procedure("sample"), "code": {"text": "Scan"}}).status_code == 409
    made = exam.tell(procedure("sample", "liver")).json()
    other = Exam(exam.desk)
    moved = {**made, "basedOn": [{"reference": f"ServiceRequest/{other.order}"}]}
    put = exam.desk.http.put(
        f"/fhir/Procedure/{made['id']}", content=exact.encode(moved), headers={"If-Match": 'W/"1"'}
    )
    assert put.status_code == 409
    strange = {**procedure("sample"), "subject": {"reference": "Patient/another"}}
    body = exact.encode({**strange, "basedOn": [{"reference": f"ServiceRequest/{exam.order}"}]})
    assert exam.desk.http.post("/fhir/Procedure", content=body).status_code == 422
