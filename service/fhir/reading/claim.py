"""Invoices to insurers, clinical histories and the animal into what a direct claim is judged by."""

from collections.abc import Iterable, Iterator
from typing import Any

from service.fhir import uris

Json = dict[str, Any]
HISTORY = "clinical-history"
CODES = {HISTORY: "Clinical history for an insurer"}


def cover_of(invoice: Json) -> str:
    """The Coverage that an invoice is a claim under, as a reference; "" for an invoice to anybody else."""
    found: Json = next((e for e in invoice.get("extension", []) if e.get("url") == uris.X_COVER), {})
    return str(found.get("valueReference", {}).get("reference", ""))


def credited(credit: Json) -> str:
    """The invoice that a credit takes back, as a reference; "" for an invoice."""
    found: Json = next((e for e in credit.get("extension", []) if e.get("url") == uris.X_CREDITS), {})
    return str(found.get("valueReference", {}).get("reference", ""))


def unpaid(invoices: Iterable[Json]) -> Iterator[str]:
    """In words, which lines the client pays although an insurer was hoped to, and why."""
    found: dict[str, list[str]] = {}
    for line in (line for one in invoices for line in one.get("lineItem", [])):
        parts = (part for held in line.get("extension", []) for part in held.get("extension", []))
        for why in (str(part["valueString"]) for part in parts if part.get("url") == "payer-reason"):
            found.setdefault(why, []).append(str(line["chargeItemReference"]["display"]))
    for why, names in found.items():
        yield f"The client pays {', '.join(names)}. {why}"


def writers(histories: Iterable[Json]) -> frozenset[str]:
    """Who wrote or keeps these clinical histories, as references; one that names nobody counts as one all the same."""
    found = [r for one in histories for r in (*one.get("author", []), one.get("custodian", {}))]
    named = {str(one["reference"]) for one in found if one.get("reference")}
    return frozenset(named or ({"unknown"} if list(found) else ()))


def treating(patient: Json, request: Json) -> list[Json]:
    """References to everybody who is known to have treated the animal: its own vets, and who asked for the exam."""
    asked = [request["requester"]] if request.get("requester", {}).get("reference") else []
    return [one for one in (*patient.get("generalPractitioner", []), *asked) if one.get("reference")]
