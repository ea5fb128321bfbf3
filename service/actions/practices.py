"""What is in force for an organisation: its own rows over the catalogue, its own settings over the practice's row."""

from service.actions.ports import House, View
from service.billing.practice import Practice
from service.catalogue.catalogue import Catalogue
from service.fhir.reading.practice import practice


def catalogue_of(house: House, view: View) -> Catalogue:
    """The catalogue in force for the organisation: with its own rows over it, where it has any."""
    return house.catalogues.over(view.overlay_text())


def practice_of(house: House, view: View) -> Practice:
    """The practice of the organisation that the view is bound to."""
    current = house.catalogues.current
    row = current.practices.get(view.organization) or current.practices["*"]
    return practice(view.practice_text(), row, currencies=current.currencies)
