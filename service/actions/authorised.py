"""A Coverage that is written: what its insurer is said to have authorised can be kept, or the cover is refused."""

from collections.abc import Sequence

from service.actions.pending import Pending
from service.actions.ports import House, View
from service.actions.practices import catalogue_of, practice_of
from service.basics.errors import Fault, RuleBroken
from service.fhir import uris
from service.fhir.reading.authorised import faults


def check(house: House, view: View, waiting: Sequence[Pending], *, ours: Sequence[Fault] = ()) -> None:
    """Raise RuleBroken with all that is wrong with the pre-authorisations among the entries.

    ours: what breaks our other rules in the entries, told with it."""
    covers = [one for one in waiting if one.writes and one.entry.type == "Coverage" and one.resource is not None]
    covers = [one for one in covers if any(e.get("url") == uris.X_AUTHORISATION for e in _extensions(one))]
    if not covers:
        return
    current, practice = catalogue_of(house, view), practice_of(house, view)
    currencies = {**current.currencies, practice.currency.code: practice.currency}
    charges = {one.charge for one in current.services.values()} | {one.charge for one in current.triggers}
    charges |= {one.code for one in current.prices}
    found = [
        fault.inside(one.content) if one.content else fault
        for one in covers
        for fault in faults(one.resource or {}, charges=charges, currencies=currencies)
    ]
    if found:
        raise RuleBroken(*found, *ours)


def _extensions(one: Pending) -> list[dict[str, str]]:
    return list((one.resource or {}).get("extension", []))
