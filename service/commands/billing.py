"""`billing close|exceptions|settle`: a month's books closed, and what a bookkeeper must look at."""

import json
from dataclasses import asdict

import typer

from service.actions import settle_exception
from service.actions.billing_check import check
from service.actions.close_month import close
from service.actions.ports import Caller, House
from service.basics.errors import Refusal
from service.catalogue.catalogue import Catalogue
from service.catalogue.load import Catalogues
from service.commands import billing_report, stop
from service.commands.table import printable, table
from service.fhir.reading.billing_exception import OpenException
from service.store import SqlBooks

HEAD = ("task", "since", "exception", "about", "what")


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
    check(house, organization)
    left = len(settle_exception.listed(house, organization))
    if left:
        print(f"caution: {left} exceptions are open: billing exceptions")
    billing_report.report(house, organization, stretch=month, sums_only=True)


def exceptions(
    books: SqlBooks,
    catalogue: Catalogue,
    organization: str,
    *,
    settled: bool = False,
    as_json: bool = False,
    now: str = "",
) -> None:
    """Bring the exceptions up to date and print those that are open; ends with 1 when there is any.

    settled: those that were settled instead, with why and by whom."""
    house = house_of(books, catalogue, organization)
    check(house, organization, now=now)
    found = settle_exception.listed(house, organization, settled=settled)
    if as_json:
        print(json.dumps([asdict(one) for one in found], ensure_ascii=False))
    elif not found:
        print("nothing was settled" if settled else "nothing is forgotten")
    else:
        for line in table((*HEAD, "settled") if settled else HEAD, [_row(one) for one in found]):
            print(line)
    if found and not settled:
        raise typer.Exit(stop.FAULTS)


def _row(one: OpenException) -> tuple[str, ...]:
    why = (f"{one.reason} ({one.by})",) if one.reason else ()
    return (one.task, one.since, one.title, one.subject, one.words, *why)


def settle(books: SqlBooks, catalogue: Catalogue, organization: str, *, task: str, reason: str, by: str) -> None:
    """Settle one exception; ends the command with what is missing, or why it can't be settled."""
    house = house_of(books, catalogue, organization)
    caller = Caller(organization, "practice", (), "command line")
    given = {"reason": reason.strip(), "by": by.strip()}
    parameters = {"parameter": [{"name": name, "valueString": text} for name, text in given.items()]}
    try:
        settle_exception.settle(house, caller, task.removeprefix("Task/"), parameters)
    except Refusal as refusal:
        raise stop.stop([f.text for f in refusal.faults]) from None
    print("settled; it is shown again only when its facts change")
