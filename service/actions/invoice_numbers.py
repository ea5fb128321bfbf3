"""The invoices of an organisation into the series of their numbers, compared with what the store has given out."""

from collections.abc import Iterator

from service.actions.ports import House, View
from service.actions.rederiving import number
from service.actions.writing import decoded
from service.billing.numbers import Series, series


def number_series(house: House, organization: str) -> list[Series]:
    """The series of each year, the earliest first; the invoices are read one after another."""
    with house.books.view(organization) as view:
        return series(_numbers(view), view.invoice_counters())


def _numbers(view: View) -> Iterator[tuple[int, int]]:
    for stored in view.since("Invoice", 0):
        found = None if stored.deleted else number(decoded(stored))
        if found is not None:
            yield found
