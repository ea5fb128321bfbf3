"""An invoice, credit or estimate of ours into its printed form, in the practice's words."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from service.actions.ports import House, View
from service.actions.practices import catalogue_of, practice_of
from service.basics.errors import Fault, Invalid, RuleBroken
from service.basics.money import Currency
from service.billing.invoice import Invoice
from service.billing.invoice_sheet import sheet
from service.billing.invoice_words import spoken
from service.billing.practice import Practice
from service.billing.sheet import Sheet
from service.fhir import uris
from service.fhir.reading.invoice import is_estimate, notes, read_invoice

Json = dict[str, Any]


def printed_form(house: House, view: View, resource: Json, *, language: str = "") -> Sheet:
    """The printed form of an invoice or credit, in its own language or the one that is asked for.

    Raises RuleBroken for an Invoice that was not issued here, Invalid for a language without words."""
    from service.fhir.printing.figures import LocalFigures  # noqa: PLC0415  # 7 MB that only printing needs

    if not issued_here(resource):
        text = "Only an invoice that was issued here, or an estimate, is printed; read this one as it is."
        raise RuleBroken(Fault("not-supported", text, "Invoice"))
    known = catalogue_of(house, view).invoice_words
    if language and language.partition("-")[0] not in {one.partition("-")[0] for one in known}:
        raise Invalid(Fault("value", f"language is one of {', '.join(sorted(known))}.", "language"))
    practice = practice_of(house, view)
    value = _value(resource, house.catalogues.current.currencies, practice)
    spoken_in, words = spoken(known, language or value.language)
    return sheet(
        value,
        words=words,
        language=spoken_in,
        figures=LocalFigures(spoken_in),
        status=str(resource.get("status", "")),
        notes=notes(resource),
        estimate=is_estimate(resource),
    )


def _value(resource: Json, currencies: Mapping[str, Currency], practice: Practice) -> Invoice:
    """The invoice; an estimate is dated by the practice's own day on which it was last reckoned."""
    try:
        value = read_invoice(resource, {**currencies, practice.currency.code: practice.currency})
    except (LookupError, TypeError, ArithmeticError) as fault:
        raise RuleBroken(Fault("value", "This Invoice is not as it was issued.", "Invoice")) from fault
    if not is_estimate(resource) or not value.issued:
        return value
    local = datetime.fromisoformat(value.issued).astimezone(ZoneInfo(practice.zone))
    return replace(value, issued=local.isoformat(timespec="milliseconds"))


def issued_here(resource: Json) -> bool:
    """Whether this service wrote the Invoice: it numbers each and copies the seller onto it, or it is an estimate."""
    if is_estimate(resource):
        return True
    numbered = any(str(i.get("system", "")).startswith(uris.INVOICE_NUMBER) for i in resource.get("identifier", []))
    return numbered and any(one.get("url") == uris.X_SELLER for one in resource.get("extension", []))
