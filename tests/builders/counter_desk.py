"""A practice at its desk, over HTTP to an application in this process whose clock stands; and what its money is."""

from collections.abc import Mapping
from typing import Any

import httpx

from service.actions.billing_check import check
from service.actions.writing import decoded, rewrite
from service.fhir import exact, uris
from service.store import SqlBooks
from tests.builders import orders
from tests.builders.bills import house
from tests.builders.orders import concept, parameters
from tests.builders.scanner import Scanner

Json = dict[str, Any]
AT = "2026-11-25T09:30:00Z"
OPEN = {"code": "billing-exception", "status": "requested"}


class Desk:
    """A practice over HTTP, and what its exceptions are."""

    def __init__(self, books: SqlBooks, slug: str, http: httpx.Client) -> None:
        self.books, self.slug, self.http = books, slug, http

    def order(self, **order: Any) -> tuple[str, str]:
        """(order, exam) of a quick exam; settings of an invented order over the usual ones."""
        whole = order.pop("whole", None) or orders.bundle(**{"service": "fluid-check", **order})
        answer = self.http.post("/fhir", content=exact.encode(whole))
        assert answer.is_success, answer.text
        made = [e["response"]["location"].partition("/fhir/")[2].split("/") for e in answer.json()["entry"]]
        (request,) = (id_ for type_, id_, *_ in made if type_ == "ServiceRequest")
        with self.books.view(self.slug) as view:
            exam = view.exam_of_order(request)
        assert exam is not None
        return request, exam.id

    def operate(self, task: str, name: str, **said: Any) -> httpx.Response:
        return self.http.post(f"/fhir/Task/{task}/${name}", content=exact.encode(parameters(said)))

    def finished(self, *, at: str = AT, notes: Mapping[str, Json] | None = None, **order: Any) -> str:
        """The exam of an order, examined and finished; notes: what is said of the exam as a whole, by code."""
        request, exam = self.order(**order)
        with self.books.view(self.slug) as view:
            found = view.exam(exam)
            assert found is not None
            scanner = Scanner(request, found.animal, at=at)
        for code, said in (notes or {}).items():
            whole = {"resourceType": "Observation", "status": "preliminary", "code": concept(uris.NOTE, code)}
            note = scanner.about({**whole, "effectiveDateTime": at, **said})
            assert self.http.post("/fhir/Observation", content=exact.encode(note)).is_success
        while resources := scanner.everything(self.ready(exam)):
            for one in resources:
                assert self.http.post(f"/fhir/{one['resourceType']}", content=exact.encode(one)).is_success
        told = self.operate(exam, "finish", interpreter="Dr I. Reader", conclusion="No abnormality seen.")
        assert told.is_success, told.text
        return exam

    def ready(self, exam: str) -> list[Json]:
        with self.books.view(self.slug) as view:
            return [t for t in map(decoded, view.steps(exam)) if t["status"] == "ready"]

    def check(self, now: str = "2026-11-25T10:00:10.000Z") -> int:
        return check(house(self.books), self.slug, now=now)

    def open(self, **criteria: str) -> list[tuple[str, str]]:
        """(kind, subject) of each open exception, as a standard search finds them."""
        found = self.http.get("/fhir/Task", params={**OPEN, **criteria}).json().get("entry", [])
        return sorted((t["code"]["coding"][0]["code"], t["focus"]["reference"]) for t in (e["resource"] for e in found))

    def kinds(self) -> list[str]:
        return [kind for kind, _ in self.open()]

    def task(self, kind: str) -> Json:
        code = f"{uris.BILLING_EXCEPTION}|{kind}"
        (entry,) = self.http.get("/fhir/Task", params={"code": code, "_sort": "-_lastUpdated"}).json()["entry"][:1]
        resource: Json = entry["resource"]
        return resource

    def charge(self, exam: str, **changes: Any) -> None:
        """Change the charges of an exam behind the back of every action."""
        with self.books.begin(self.slug) as work:
            found = work.exam(exam)
            assert found is not None
            rows = self.http.get("/fhir/ChargeItem", params={"service": f"Procedure/{found.procedure}"}).json()
            rewrite(work, [{**e["resource"], **changes} for e in rows["entry"]])
