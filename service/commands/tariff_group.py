"""Commands about prices: words typed into the functions that do them."""

from pathlib import Path
from typing import Annotated

import typer

from service.commands import opening, organization, tariff

Organization = Annotated[str, typer.Option("--organization", help="The organisation, by name or slug.")]
By = Annotated[str, typer.Option("--by", help="Who asks for it; it goes on record.")]

commands = typer.Typer(no_args_is_help=True, help="An organisation's own prices.")


@commands.command("import")
def tariff_import(
    organization_: Organization,
    file: Annotated[Path, typer.Argument(help="A CSV file with the columns of mappings/tariff.csv.")],
    by: By,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Print what would change, and write nothing.")] = False,
) -> None:
    """Add or change prices; one that was charged by stays as it is on that day."""
    current = opening.catalogue(opening.settings())
    with opening.books() as books:
        slug = organization.slug(organization_)
        tariff.import_(books, current, slug, file=file, by=by, dry_run=dry_run)


@commands.command("log")
def tariff_log(organization_: Organization) -> None:
    """Every change of an organisation's prices: when, by whom, and what it changed."""
    with opening.books() as books:
        tariff.log(books, organization.slug(organization_))
