"""Commands in groups, such as `deliveries list`: words typed into the functions that do them."""

from pathlib import Path
from typing import Annotated

import typer

from service.commands import (
    access_groups,
    agreement_group,
    billing_group,
    catalogue_group,
    opening,
    organization,
    outbox_groups,
    tariff_group,
    trust_groups,
    urgent,
)

Organization = Annotated[str, typer.Option("--organization", help="The organisation, by name or slug.")]

organizations = typer.Typer(no_args_is_help=True, help="Organisations that share this service, apart from one another.")
urgents = typer.Typer(no_args_is_help=True, help="Urgent findings: what must be decided or told, and what is late.")


@organizations.command("add")
def organization_add(
    name: Annotated[str, typer.Argument(help="Its name; the slug is made of it.")],
    kind: Annotated[str, typer.Option(help="practice, clinic or records.")] = "practice",
    billing: Annotated[Path | None, typer.Option(help="JSON file: billing profile, zone, opening hours ...")] = None,
) -> None:
    """Add an organisation, or give an existing one new settings; prints its slug."""
    row = opening.catalogue(opening.settings()).practices["*"]
    with opening.books() as books:
        typer.echo(organization.add(books, name, kind=kind, billing=billing, row=row))


@organizations.command("list")
def organization_list() -> None:
    """List all organisations."""
    with opening.books() as books:
        organization.list_(books)


@urgents.command("list")
def urgent_list(organization_: Organization, as_json: Annotated[bool, typer.Option("--json")] = False) -> None:
    """What is open, the latest first; ends with 1 when anything is overdue."""
    catalogue = opening.catalogue(opening.settings())
    with opening.books() as books:
        urgent.list_(books, catalogue, organization=organization.slug(organization_), as_json=as_json)


@urgents.command("escalate")
def urgent_escalate(
    organization_: Annotated[str, typer.Option("--organization", help="Only this one.")] = "",
) -> None:
    """Write down what the clock has passed; `serve` does so by itself."""
    catalogue = opening.catalogue(opening.settings())
    with opening.books() as books:
        urgent.escalate(books, catalogue, organization=organization.slug(organization_) if organization_ else "")


GROUPS = {
    "billing": billing_group.commands,
    "tariff": tariff_group.commands,
    "catalogue": catalogue_group.commands,
    "organization": organizations,
    "token": access_groups.tokens,
    "client": access_groups.clients,
    "audit": access_groups.audits,
    "agreement": agreement_group.commands,
    "referral": agreement_group.referrals,
    "destination": outbox_groups.destinations,
    "key": trust_groups.keys,
    "webhook": trust_groups.webhooks,
    "deliveries": outbox_groups.posts,
    "urgent": urgents,
}
