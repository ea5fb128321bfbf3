"""What is in force for an organisation: its own rows over the catalogue, its own settings over the practice's row."""

from service.actions.ports import House, View
from service.basics.errors import Conflict, Fault
from service.billing.practice import Practice
from service.catalogue.catalogue import Catalogue
from service.catalogue.faults import CatalogueFaults
from service.fhir.reading.practice import practice

UNFIT = (
    "The practice's own rows do not fit the catalogue in force: `sonoledger catalogue import` or"
    " `sonoledger tariff import` mends them."
)


def catalogue_of(house: House, view: View) -> Catalogue:
    """The catalogue in force for the organisation: with its own rows and its own prices over it, where it has any.

    Raises Conflict with all faults when these do not fit the catalogue, which an operator must put right."""
    try:
        return house.catalogues.over(view.overlay_text(), view.overlay_text("tariff"))
    except CatalogueFaults as wrong:
        raise Conflict(*(Fault("business-rule", f"{UNFIT} {fault}") for fault in wrong.faults)) from None


def practice_of(house: House, view: View) -> Practice:
    """The practice of the organisation that the view is bound to."""
    current = house.catalogues.current
    row = current.practices.get(view.organization) or current.practices["*"]
    return practice(view.practice_text(), row, currencies=current.currencies)
