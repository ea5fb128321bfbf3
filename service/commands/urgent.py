"""`urgent list|escalate`: what must be decided or told, what is late, and the clock written down."""

import json
from collections.abc import Sequence
from dataclasses import asdict

import typer

from service.actions import escalate_urgent
from service.actions.escalate_urgent import OpenMatter
from service.actions.ports import House
from service.catalogue.catalogue import Catalogue
from service.catalogue.load import Catalogues
from service.commands import stop
from service.commands.table import printable, table
from service.store import SqlBooks

CAUTION = "C14"  # of mappings/cautions.csv
HEAD = ("state", "tier", "due", "finding", "animal", "tell", "task", "exam")


def list_(books: SqlBooks, catalogue: Catalogue, *, organization: str, now: str = "", as_json: bool = False) -> None:
    """Print what is open, the latest first, by the clock as it is now; ends with 1 when anything is overdue."""
    house = _house(books, catalogue, organization)
    with books.view(organization) as view:
        found = escalate_urgent.open_matters(house, view, now=now or escalate_urgent.clock())
    if as_json:
        print(json.dumps([asdict(one.record) | {"task": one.task, "exam": one.exam} for one in found]))
    else:
        _print(found, catalogue)
    if any(one.record.standing == "overdue" for one in found):
        raise typer.Exit(stop.FAULTS)


def escalate(books: SqlBooks, catalogue: Catalogue, *, organization: str = "", now: str = "") -> None:
    """Write what the clock has passed, of one organisation or all, and print how many Tasks changed."""
    slugs = [organization] if organization else [o.slug for o in books.organizations() if o.kind != "records"]
    changed = sum(escalate_urgent.escalate(_house(books, catalogue, slug), slug, now=now) for slug in slugs)
    print(f"{changed} escalated")


def _house(books: SqlBooks, catalogue: Catalogue, organization: str) -> House:
    if books.organization(organization) is None:
        raise stop.stop(f"there is no organisation {printable(organization)}")
    return House(books, Catalogues(catalogue, books.catalogue_text))


def _print(found: Sequence[OpenMatter], catalogue: Catalogue) -> None:
    if not found:
        print("nothing urgent is open")
        return
    for line in table(HEAD, [_row(one) for one in found]):
        print(line)
    for caution in catalogue.cautions:
        if caution.id == CAUTION:
            print(caution.text)


def _row(one: OpenMatter) -> tuple[str, ...]:
    record = one.record
    tell = record.responsible or ("nobody named" if record.message else "to be decided")
    return (record.standing, str(record.tier), record.due, record.title, one.animal, tell, one.task, one.exam)
