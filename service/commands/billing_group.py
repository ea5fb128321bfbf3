"""Commands about money: words typed into the functions that do them."""

from pathlib import Path
from typing import Annotated

import typer

from service.commands import billing, billing_numbers, billing_print, billing_report, opening, organization, stop
from service.fhir import printing

Organization = Annotated[str, typer.Option("--organization", help="The organisation, by name or slug.")]
By = Annotated[str, typer.Option("--by", help="Who asks for it; it goes on record.")]

commands = typer.Typer(no_args_is_help=True, help="What was invoiced, what was forgotten, and closing a month.")


@commands.command("report")
def billing_report_(
    organization_: Organization,
    day: Annotated[str, typer.Option(help="A day of the practice's calendar, such as 2026-11-25.")] = "",
    month: Annotated[str, typer.Option(help="A month, such as 2026-11.")] = "",
    format_: Annotated[str, typer.Option("--format", help="text, csv or json.")] = "text",
) -> None:
    """The invoices and credits of a day or a month, and what they come to."""
    if bool(day) == bool(month):
        raise stop.stop("name either a --day or a --month")
    if (day or month).count("-") != (2 if day else 1):
        raise stop.stop("--day takes a day such as 2026-11-25, --month a month such as 2026-11")
    if format_ not in billing_report.FORMATS:
        raise stop.stop(f"--format is one of {', '.join(billing_report.FORMATS)}")
    current = opening.catalogue(opening.settings())
    with opening.books() as books:
        slug = organization.slug(organization_)
        house = billing.house_of(books, current, slug)
        billing_report.report(house, slug, stretch=day or month, format_=format_)


@commands.command("close")
def billing_close(
    organization_: Organization,
    month: Annotated[str, typer.Argument(help="A month that is over, such as 2026-10.")],
    by: By,
) -> None:
    """Close the books of a month: nothing is dated into it any more."""
    current = opening.catalogue(opening.settings())
    with opening.books() as books:
        billing.close_month(books, current, organization.slug(organization_), month=month, by=by)


@commands.command("exceptions")
def billing_exceptions(
    organization_: Organization,
    settled: Annotated[bool, typer.Option("--settled", help="Those that were settled, with why and by whom.")] = False,
    as_json: Annotated[bool, typer.Option("--json")] = False,
) -> None:
    """What was forgotten, is unclear or did not arrive; ends with 1 when anything is open."""
    current = opening.catalogue(opening.settings())
    with opening.books() as books:
        slug = organization.slug(organization_)
        billing.exceptions(books, current, slug, settled=settled, as_json=as_json)


@commands.command("numbers")
def billing_numbers_(
    organization_: Organization,
    as_json: Annotated[bool, typer.Option("--json")] = False,
) -> None:
    """The series of invoice numbers, year by year; ends with 1 when one is missing or there twice."""
    current = opening.catalogue(opening.settings())
    with opening.books() as books:
        slug = organization.slug(organization_)
        billing_numbers.numbers(billing.house_of(books, current, slug), slug, as_json=as_json)


@commands.command("print")
def billing_print_(
    organization_: Organization,
    wanted: Annotated[str, typer.Argument(metavar="NUMBER", help="An invoice's number, or a day or month.")],
    folder: Annotated[Path, typer.Option("--folder", help="Where the files go.", exists=True, file_okay=False)],
    kind: Annotated[str, typer.Option(help="pdf or page.")] = "pdf",
    language: Annotated[str, typer.Option(help="Such as de; without it each invoice's own.")] = "",
) -> None:
    """Write an invoice, or all of a day or month, as PDF or page."""
    if kind not in billing_print.KINDS:
        raise stop.stop(f"--kind is one of {', '.join(billing_print.KINDS)}")
    current = opening.catalogue(opening.settings())
    with opening.books() as books:
        slug = organization.slug(organization_)
        house = billing.house_of(books, current, slug)
        how = {"kind": kind, "language": language}
        billing_print.print_(house, slug, wanted, folder=folder, **how, press=printing.press())


@commands.command("settle")
def billing_settle(
    organization_: Organization,
    task: Annotated[str, typer.Argument(help="The exception's Task, as the list has it.")],
    reason: Annotated[str, typer.Option("--reason", help="Why it is settled.")],
    by: By,
) -> None:
    """Settle an exception; it is shown again only when its facts change."""
    current = opening.catalogue(opening.settings())
    with opening.books() as books:
        billing.settle(books, current, organization.slug(organization_), task=task, reason=reason, by=by)
