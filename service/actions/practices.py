"""The practice in force for an organisation: its own settings over the row of the mappings."""

from service.actions.ports import House, View
from service.billing.practice import Practice
from service.fhir.reading.practice import practice


def practice_of(house: House, view: View) -> Practice:
    """The practice of the organisation that the view is bound to."""
    current = house.catalogues.current
    row = current.practices.get(view.organization) or current.practices["*"]
    return practice(view.practice_text(), row, currencies=current.currencies)
