"""Commands about the catalogue: words typed into the functions that do them."""

from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Annotated

import typer

from service.commands import catalogue, catalogue_show, opening, organization, stop
from service.exam.circumstances import Circumstances

Organization = Annotated[str, typer.Option("--organization", help="The organisation, by name or slug.")]
By = Annotated[str, typer.Option("--by", help="Who asks for it; it goes on record.")]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Print what would change, and write nothing.")]

commands = typer.Typer(no_args_is_help=True, help="What is asked and judged, and a practice's own rows over it.")


@commands.command("import")
def catalogue_import(
    organization_: Organization,
    folder: Annotated[Path, typer.Argument(help="CSV files named as in mappings/, with the practice's own rows.")],
    by: By,
    dry_run: DryRun = False,
) -> None:
    """Lay a practice's own rows over the catalogue, in the place of those it had; they hold for new exams."""
    current = opening.catalogue(opening.settings())
    with opening.books() as books:
        slug = organization.slug(organization_)
        catalogue.import_(books, current, slug, folder=folder, by=by, dry_run=dry_run)


@commands.command("clear")
def catalogue_clear(organization_: Organization, by: By, dry_run: DryRun = False) -> None:
    """Take a practice's own rows away again."""
    current = opening.catalogue(opening.settings())
    with opening.books() as books:
        catalogue.clear(books, current, organization.slug(organization_), by=by, dry_run=dry_run)


@commands.command("log")
def catalogue_log(organization_: Organization) -> None:
    """Every change of a practice's own rows: when, by whom, and what it changed."""
    with opening.books() as books:
        catalogue.log(books, organization.slug(organization_))


@commands.command("show")
def catalogue_show_(
    structure: Annotated[str, typer.Argument(help="A structure, such as adrenal_left.")],
    species: Annotated[str, typer.Option(help="dog or cat.")],
    weight: Annotated[str, typer.Option(help="Body weight in kg.")] = "",
    ideal_weight: Annotated[str, typer.Option("--ideal-weight", help="Ideal body weight in kg.")] = "",
    age_months: Annotated[int | None, typer.Option("--age-months", min=0, help="Age in completed months.")] = None,
    sex: Annotated[str, typer.Option(help="male or female.")] = "",
    neutered: Annotated[bool | None, typer.Option("--neutered/--intact")] = None,
    fasted: Annotated[bool | None, typer.Option("--fasted/--not-fasted")] = None,
    sedated: Annotated[bool | None, typer.Option("--sedated/--not-sedated")] = None,
    fill: Annotated[str, typer.Option(help="Fill state of the urinary bladder, such as moderate.")] = "",
    recumbency: Annotated[str, typer.Option(help="How the animal lies, such as left-lateral.")] = "",
    organization_: Annotated[str, typer.Option("--organization", help="With this practice's own rows.")] = "",
) -> None:
    """What would be asked of a structure and what its measurements would be judged by."""
    if species not in {"dog", "cat"}:
        raise stop.stop("--species is dog or cat")
    known = Circumstances(
        species=species,
        sex=sex,
        neutered=neutered,
        weight_kg=_kilograms("--weight", weight),
        ideal_weight_kg=_kilograms("--ideal-weight", ideal_weight),
        age_months=age_months,
        fasted=fasted,
        sedated=sedated,
        fill=fill,
        recumbency=recumbency,
    )
    rules = opening.catalogue(opening.settings())
    if organization_:
        with opening.books() as books:
            rules = catalogue.in_force(books, rules, organization.slug(organization_))
    catalogue_show.show(rules, structure, known)


def _kilograms(option: str, text: str) -> Decimal | None:
    try:
        found = Decimal(text) if text else None
    except InvalidOperation:
        found = Decimal(0)
    if found is not None and not (found.is_finite() and found > 0):
        raise stop.stop(f"{option} is a weight in kg, such as 12.4")
    return found
