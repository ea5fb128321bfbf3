"""A practice at its counter, over HTTP: orders, exams with what else was done, bills and credits."""

from typing import Any

import httpx

from service.actions.writing import decoded
from service.fhir import exact, uris
from service.store import SqlBooks
from tests.builders import orders
from tests.builders.orders import concept, parameters
from tests.builders.scanner import AT, Scanner
from tests.builders.tariff_rows import row, tariff

Json = dict[str, Any]
BY = "A. Bookkeeper"
CLINIC = f"{orders.CLINICS}|contract-7"

RICH = tariff(
    row("full", amount="185.00", kind="exam"),
    row("limited", amount="98.00", kind="exam"),
    row("recheck", amount="82.00", kind="exam"),
    row("fluid-check", amount="46.00", kind="exam", variant="any", hours="in"),
    row("fluid-check", amount="60.00", kind="exam", variant="night", hours="out"),
    row("doppler", amount="35.00", discount="10", discount_reason="Introductory price"),
    row("sedation", amount="55.00", variant="small", weight_below="10"),
    row("sedation", amount="85.00", variant="large", weight_from="10"),
    row("sample", amount="45.00", quantity="site", cap="2"),
    row("cystocentesis", amount="29.90", basis="gross", tax_rate="4", quantity="procedure"),
    row("export", amount="15.00", payer="requester"),
    row("call-out", amount="40.00", quantity="visit"),
    row("urgent-fee", amount="30.00", priority="urgent stat", exclusive_with="out-of-hours"),
    row("out-of-hours", amount="", surcharge="50", surcharge_on="exam service"),
    row("specialist", amount="70.00", kind="outside"),
    row("no-show", amount="25.00", tax_category="E", tax_rate="0", tax_reason="Compensation, not a supply"),
)


class Counter:
    """One practice; slug is its organisation's."""

    def __init__(self, books: SqlBooks, slug: str, http: httpx.Client) -> None:
        self.books, self.slug, self.http = books, slug, http

    def post(self, resource: Json, where: str = "") -> Json:
        """The resource as stored, or the answer to a Bundle."""
        kind = resource["resourceType"]
        path = where or ("" if kind == "Bundle" else f"/{kind}")
        answer = self.http.post(f"/fhir{path}", content=exact.encode(resource))
        assert answer.is_success, answer.text
        found: Json = exact.decode(answer.content)
        return found

    def order(self, **order: Any) -> tuple[str, str, str]:
        """(order, exam, animal) of a quick exam."""
        whole = orders.bundle(**{"service": "fluid-check", "priority": "routine", **order})
        made = [e["response"]["location"].partition("/fhir/")[2].split("/") for e in self.post(whole)["entry"]]
        (request,) = (id_ for type_, id_, *_ in made if type_ == "ServiceRequest")
        with self.books.view(self.slug) as view:
            exam = view.exam_of_order(request)
        assert exam is not None
        return request, exam.id, exam.animal

    def finished(self, *notes: Json, at: str = AT, interpreter: Any = "Dr I. Reader", **order: Any) -> tuple[str, Json]:
        """(exam, what finishing it told) of a quick exam in which more was done."""
        exam = self.scanned(*notes, at=at, **order)
        return exam, self.finish(exam, interpreter=interpreter)

    def scanned(self, *notes: Json, at: str = AT, **order: Any) -> str:
        """A quick exam in which more was done and nothing is owed."""
        request, exam, animal = self.order(**order)
        scanner = Scanner(request, animal, at=at)
        for one in notes:
            self.post(scanner.about({**one, "effectiveDateTime": at}))
        while resources := scanner.everything(self._ready(exam)):
            for one in resources:
                self.post(one)
        return exam

    def finish(self, exam: str, *, interpreter: Any = "Dr I. Reader") -> Json:
        """What finishing told."""
        said = parameters(conclusion="No abnormality seen.")
        kind = "valueString" if isinstance(interpreter, str) else "valueReference"
        said["parameter"].append({"name": "interpreter", kind: interpreter})
        return told(self.post(said, f"/Task/{exam}/$finish"))

    def _ready(self, exam: str) -> list[Json]:
        with self.books.view(self.slug) as view:
            return [t for t in map(decoded, view.steps(exam)) if t["status"] == "ready"]

    def get(self, reference: str) -> Json:
        """A resource with every digit."""
        answer = self.http.get(f"/fhir/{reference}")
        assert answer.is_success, answer.text
        found: Json = exact.decode(answer.content)
        return found

    def operate(self, exam: str, name: str, *parts: Json, **said: Any) -> httpx.Response:
        """Call an operation of an exam with plain values and parts."""
        whole = parameters(said)
        if parts:
            whole["parameter"] = [*whole.get("parameter", []), *parts]
        return self.http.post(f"/fhir/Task/{exam}/${name}", content=exact.encode(whole))

    def credit(self, exam: str, *parts: Json, reason: str = "Agreed", **said: Any) -> Json:
        """What crediting told."""
        answer = self.operate(exam, "credit", *parts, reason=reason, by=BY, **said)
        assert answer.is_success, answer.text
        return told(exact.decode(answer.content))

    def charges(self, exam: str) -> list[Json]:
        """The ChargeItems of an exam."""
        with self.books.view(self.slug) as view:
            found = view.exam(exam)
        assert found is not None
        answer = self.http.get("/fhir/ChargeItem", params={"service": f"Procedure/{found.procedure}", "_count": "50"})
        return [e["resource"] for e in exact.decode(answer.content).get("entry", [])]


def note(code: str, *, site: str = "", **value: Any) -> Json:
    """An Observation of something done in an exam."""
    given = value or {"valueBoolean": True}
    placed = {"bodySite": concept(uris.STRUCTURE, site)} if site else {}
    return {"resourceType": "Observation", "status": "final", "code": concept(uris.NOTE, code), **placed, **given}


def weighs(kg: Any) -> Json:
    """The animal's weight in this exam."""
    quantity = {"value": kg, "unit": "kg", "system": uris.UCUM, "code": "kg"}
    return note("weight", valueQuantity=quantity)


def line(sequence: int, **part: Any) -> Json:
    """What is to be taken back of one line: quantity=Decimal or amount=Money."""
    kinds = {"quantity": "valueDecimal", "amount": "valueMoney"}
    parts = [{"name": "sequence", "valuePositiveInt": sequence}]
    return {"name": "line", "part": [*parts, *({"name": k, kinds[k]: v} for k, v in part.items())]}


def told(answer: Json) -> Json:
    """The Parameters of an answer: all references or words by name."""
    found: Json = {}
    for part in answer["parameter"]:
        value = part["valueReference"]["reference"] if "valueReference" in part else part["valueString"]
        found.setdefault(part["name"], []).append(value)
    return found


def lines(invoice: Json) -> dict[str, tuple[str, str]]:
    """(quantity, net) by charge code."""
    found = {}
    for item in invoice["lineItem"]:
        parts = next(x["extension"] for x in item["extension"] if x["url"] == uris.X_LINE)
        code = next(p["valueCode"] for p in parts if p["url"] == "code")
        priced = [c for c in item["priceComponent"] if c["type"] in {"base", "surcharge", "discount"}]
        found[code] = (str(priced[0]["factor"]), str(sum(c["amount"]["value"] for c in priced)))
    return found
