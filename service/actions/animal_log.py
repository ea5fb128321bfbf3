"""An animal into the references of all that its record holds, so that what touched any of it can be told."""

from service.actions.everything import Wanted, everything
from service.actions.ports import House, View
from service.fhir import moments

_PAGE = 500


def record_of(house: House, view: View, animal: str) -> frozenset[str]:
    """Type/id of the animal and of everything in its record, whatever came or went: what is there now."""
    found, after = {f"Patient/{animal}"}, ""
    while True:
        wanted = Wanted(
            may=lambda _: True,
            types=frozenset(),
            since="",
            start=moments.EARLIEST,
            end=moments.LATEST,
            count=_PAGE,
            after=after,
        )
        page = everything(house, view, animal, wanted)
        found |= {f"{one.type}/{one.id}" for one in page.matches}
        after = page.after
        if not after:
            return frozenset(found)
