"""An animal whose insurer has authorised something, at a practice over HTTP."""

from decimal import Decimal
from typing import Any

from service.fhir import uris
from tests.builders.counter import Counter
from tests.builders.orders import number, patient

Json = dict[str, Any]


def authorised(code: str = "PA-7", *, amount: str = "", scope: tuple[str, ...] = (), **period: str) -> Json:
    """The extension of a Coverage that holds a pre-authorisation."""
    parts: list[Json] = [{"url": "number", "valueString": code}]
    parts += [{"url": "scope", "valueCode": one} for one in scope]
    parts += [{"url": "period", "valuePeriod": period}] if period else []
    parts += [{"url": "amount", "valueMoney": {"value": Decimal(amount), "currency": "EUR"}}] if amount else []
    return {"url": uris.X_AUTHORISATION, "extension": parts}


class Insured:
    """An animal with one owner and a cover."""

    def __init__(self, counter: Counter, *held: Json) -> None:
        self.counter, self.animal = counter, patient(number("insured"))
        self.id = counter.post(self.animal)["id"]
        self.insurer = counter.post({"resourceType": "Organization", "name": "Invented Mutual"})["id"]
        self.cover = counter.post(self.coverage(*held))["id"]
        self.owners = 1
        self.said: Json = {}

    def coverage(self, *held: Json, **more: Any) -> Json:
        payor = [{"reference": f"Organization/{self.insurer}"}]
        whole = {"resourceType": "Coverage", "status": "active", "beneficiary": {"reference": f"Patient/{self.id}"}}
        return {**whole, "payor": payor, **({"extension": list(held)} if held else {}), **more}

    def finished(self, *notes: Json, **order: Any) -> tuple[str, list[Json]]:
        """(exam, its invoices)."""
        owners, self.owners = self.owners, 0
        exam, self.said = self.counter.finished(*notes, animal=self.animal, owners=owners, **order)
        assert "unbilled" not in self.said
        return exam, [self.counter.get(one) for one in self.said["invoice"]]
