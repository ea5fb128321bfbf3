"""`rebuild`: every projection (search keys, claims, exam and step rows, numbers) derived again from the resources."""

from functools import partial

import typer

from service.actions import rederiving
from service.actions.ports import House
from service.catalogue.catalogue import Catalogue
from service.catalogue.load import Catalogues
from service.commands import stop
from service.fhir import exact, search
from service.store import SqlBooks
from service.store.rebuild import Derivations


def rebuild(books: SqlBooks, catalogue: Catalogue, *, organization: str = "") -> None:
    """Rebuild one organisation or all, each in one transaction, and print what was derived."""
    slugs = [organization] if organization else [o.slug for o in books.organizations()]
    unknown = [slug for slug in slugs if books.organization(slug) is None]
    if unknown:
        raise stop.stop(f"there is no organisation {unknown[0]}")
    house = House(books, Catalogues(catalogue, books.catalogue_text))
    derive = Derivations(
        decode=exact.decode,
        keys=search.keys,
        claims=partial(rederiving.claims, catalogue.unique_identifiers),
        number=rederiving.number,
        exams=partial(rederiving.exams, house),
    )
    for slug in slugs:
        done = books.rebuild(slug, derive=derive)
        typer.echo(f"{slug}: {done.resources} resources, {done.exams} exams, {done.steps} steps")
        for type_, criteria, holder, other in done.contested:
            typer.echo(f"  {type_}/{other} also claims {criteria}, which is {type_}/{holder}'s: look at both", err=True)
