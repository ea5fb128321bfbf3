"""Estimates, consents and invoices as they are stored into what billing compares; what a $consent says."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from service.basics.errors import Fault, Refusal
from service.basics.money import MOST, Currency, Money
from service.billing.estimate import Billed, Told, key
from service.exam import moments
from service.exam.urgent_state import METHODS
from service.fhir import uris
from service.fhir.reading.invoice import money
from service.fhir.reading.parameters import named, text

Json = dict[str, Any]
Currencies = Mapping[str, Currency]
NEEDED = (("by", "who records it"), ("given", "who agreed"), ("method", "how"))


@dataclass(frozen=True, slots=True)
class Said:
    """What somebody says of a consent: given is a Reference, amount None for all that was estimated, at "" for now."""

    by: str
    given: Json
    method: str
    at: str
    amount: Money | None
    estimate: str


def said(parameters: Json, currencies: Currencies, *, now: str) -> tuple[Said, list[Fault]]:
    """What is said, and everything that is wrong with it."""
    faults = [
        Fault("required", f"Say {words} in the parameter {name!r}.", _where(name))
        for name, words in NEEDED
        if not named(parameters, name) or not _worded(named(parameters, name)[0])
    ]
    method, at = text(parameters, "method"), text(parameters, "at")
    if method and method not in METHODS:
        faults.append(Fault("value", f"method is one of {', '.join(METHODS)}.", _where("method")))
    if at and moments.compare(at, now) != -1 and at[:10] >= now[:10]:
        faults.append(Fault("value", "`at` lies ahead, or is no instant with its zone.", _where("at")))
    amount, wrong = _amount(parameters, currencies)
    given = next(iter(named(parameters, "given")), "")
    party = given if isinstance(given, dict) else {"display": str(given).strip()}
    return Said(text(parameters, "by"), party, method, at, amount, text(parameters, "estimate")), [*faults, *wrong]


def told(estimates: Iterable[Json], consents: Iterable[Json], currencies: Currencies) -> dict[str, Told]:
    """What each payer expects, by key: what was agreed to last, or else was estimated."""
    drafts = {f"Invoice/{one['id']}": one for one in estimates}
    found = {key(payer_of(one)): Told(money(one["totalGross"], currencies)) for one in drafts.values() if _stands(one)}
    for one in sorted(consents, key=lambda c: str(c["id"])):  # our ids rise with time
        about = drafts.get(_agreed_to(one))
        if about is not None and one.get("status") == "active":
            found[key(payer_of(about))] = Told(money(_part(one, "amount")["valueMoney"], currencies), agreed=True)
    return found


def billed(papers: Iterable[Json], currencies: Currencies) -> list[Billed]:
    """What each payer is billed, from issued invoices and credits, the oldest first."""
    found: dict[str, Billed] = {}
    for one in papers:
        payer, gross = payer_of(one), money(one["totalGross"], currencies)
        before = found.get(payer)
        last = before.invoice if before and _credit(one) else str(one["id"])
        whole = before.gross + gross if before and before.gross.currency == gross.currency else gross
        found[payer] = Billed(payer, str(one.get("recipient", {}).get("display", "")), last, whole)
    return list(found.values())


def payer_of(invoice: Json) -> str:
    """Who pays, as a reference; "" where an estimate does not know."""
    return str(invoice.get("recipient", {}).get("reference", ""))


def _stands(estimate: Json) -> bool:
    return estimate.get("status") == "draft"


def _credit(invoice: Json) -> bool:
    return any(e.get("url") == uris.X_CREDITS for e in invoice.get("extension", []))


def _agreed_to(consent: Json) -> str:
    data = consent.get("provision", {}).get("data", [{}])
    return str(data[0].get("reference", {}).get("reference", "")).partition("/_history/")[0]


def _part(consent: Json, name: str) -> Json:
    held = [e.get("extension", []) for e in consent.get("extension", []) if e.get("url") == uris.X_AGREED]
    found: Json = next((part for parts in held for part in parts if part.get("url") == name), {})
    return found


def _amount(parameters: Json, currencies: Currencies) -> tuple[Money | None, list[Fault]]:
    given = next(iter(named(parameters, "amount")), None)
    if given is None:
        return None, []
    where = _where("amount")
    if not isinstance(given, dict) or not {"value", "currency"} <= given.keys():
        return None, [Fault("value", "`amount` is a Money with value and currency.", where)]
    try:
        found = money(given, currencies)
    except Refusal as refusal:
        return None, [Fault(f.reason, f.text, where) for f in refusal.faults]
    if found.minor <= 0:
        return None, [Fault("value", "`amount` is more than nothing.", where)]
    return found, [] if found.decimal() < MOST else [Fault("value", f"`amount` is below {MOST:,}.", where)]


def _worded(value: Any) -> bool:
    return bool(value.get("reference") or value.get("display")) if isinstance(value, dict) else bool(str(value).strip())


def _where(name: str) -> str:
    return f"Parameters.parameter.where(name='{name}')"
