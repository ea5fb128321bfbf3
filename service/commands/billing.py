"""`billing close`: a month's books closed, with what it came to."""

from service.actions.close_month import close
from service.actions.ports import House
from service.basics.errors import Refusal
from service.catalogue.catalogue import Catalogue
from service.catalogue.load import Catalogues
from service.commands import billing_report, stop
from service.commands.table import printable
from service.store import SqlBooks


def house_of(books: SqlBooks, catalogue: Catalogue, organization: str) -> House:
    """What actions need, for an organisation that is there; ends the command when it is not."""
    if books.organization(organization) is None:
        raise stop.stop(f"there is no organisation {printable(organization)}")
    return House(books, Catalogues(catalogue, books.catalogue_text))


def close_month(books: SqlBooks, catalogue: Catalogue, organization: str, *, month: str, by: str) -> None:
    """Close the month and print what it came to; ends the command when it is not over, or closed already."""
    house = house_of(books, catalogue, organization)
    try:
        closed = close(house, organization, month=month, by=by, told=billing_report.totals)
    except Refusal as refusal:
        raise stop.stop([f.text for f in refusal.faults]) from None
    print(f"the books of {closed.month} are closed; later corrections are dated into the open month")
    billing_report.report(house, organization, stretch=month, sums_only=True)
