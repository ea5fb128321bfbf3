"""Commands about money: words typed into the functions that do them."""

from typing import Annotated

import typer

from service.commands import billing, billing_report, opening, organization, stop

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
