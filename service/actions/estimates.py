"""The estimates, consents and invoices that an exam's Task names, and whom its bills surprise."""

from collections.abc import Iterable, Mapping
from typing import Any

from service.actions.ports import House, View
from service.actions.practices import practice_of
from service.actions.writing import decoded
from service.basics.money import Currency
from service.billing.books import COUNTED
from service.billing.estimate import surprises
from service.billing.exceptions import Found
from service.billing.practice import Practice
from service.fhir import uris
from service.fhir.reading.estimate import billed, told
from service.fhir.writing.estimate import replaced

Json = dict[str, Any]
ESTIMATE, CONSENT = "estimate", "consent"
PAPERS = frozenset({"invoice", "credit"})


def named_on(view: View, task: Json, *kinds: str) -> list[Json]:
    """The resources that the exam's Task names as outcomes of these kinds, oldest first."""
    found = [output for output in task.get("output", []) if _kind(output) in kinds]
    references = [str(one.get("valueReference", {}).get("reference", "")).split("/") for one in found]
    keys = [(parts[0], parts[1]) for parts in references if len(parts) == 2]
    stored = view.get_many(keys)
    return [decoded(stored[key]) for key in keys if key in stored and not stored[key].deleted]


def surprising(
    house: House, view: View, task: Json, *, practice: Practice | None = None, more: Iterable[Json] = ()
) -> list[Found]:
    """An exception for each payer whose bill passes what he was told. more: invoices that are about to be written."""
    if not any(_kind(output) == ESTIMATE for output in task.get("output", [])):
        return []
    at = practice or practice_of(house, view)
    currencies = known(house, at)
    drafts, consents = named_on(view, task, ESTIMATE), named_on(view, task, CONSENT)
    papers = [one for one in (*named_on(view, task, *PAPERS), *more) if one.get("status") in COUNTED]
    return surprises(billed(papers, currencies), told(drafts, consents, currencies), at.estimate_share)


def ended(view: View, task: Json, reason: str) -> list[Json]:
    """The estimates of an exam that will not be, to be written by the caller."""
    return [replaced(one, reason) for one in named_on(view, task, ESTIMATE) if one["status"] == "draft"]


def known(house: House, practice: Practice) -> Mapping[str, Currency]:
    """The currencies of the catalogue, and the practice's own."""
    return {**house.catalogues.current.currencies, practice.currency.code: practice.currency}


def _kind(output: Json) -> str:
    codings = output.get("type", {}).get("coding", [])
    return next((str(c.get("code", "")) for c in codings if c.get("system") == uris.ITEM), "")
