"""Commands in groups, such as `deliveries list`: words typed into the functions that do them."""

from pathlib import Path
from typing import Annotated

import typer

from service.commands import (
    billing_group,
    catalogue_group,
    deliveries,
    destination,
    opening,
    organization,
    tariff_group,
    token,
    urgent,
)

Organization = Annotated[str, typer.Option("--organization", help="The organisation, by name or slug.")]
By = Annotated[str, typer.Option("--by", help="Who asks for it; it goes on record.")]

organizations = typer.Typer(no_args_is_help=True, help="Organisations that share this service, apart from one another.")
tokens = typer.Typer(no_args_is_help=True, help="Tokens by which organisations are known.")
destinations = typer.Typer(no_args_is_help=True, help="Where finished posts go.")
urgents = typer.Typer(no_args_is_help=True, help="Urgent findings: what must be decided or told, and what is late.")
posts = typer.Typer(no_args_is_help=True, help="What was promised, what became of it, and sending it again.")


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


@tokens.command("create")
def token_create(
    organization_: Organization,
    scope: Annotated[list[str], typer.Option("--scope", help="Such as system/*.cruds; may be repeated.")],
    kind: Annotated[str, typer.Option(help="Kind of the organisation when it is new.")] = "practice",
    label: Annotated[str, typer.Option(help="What the token is for, as it stands in the audit.")] = "command line",
) -> None:
    """Make a token (and the organisation when it is new); prints the token once, alone."""
    row = opening.catalogue(opening.settings()).practices["*"]
    with opening.books() as books:
        slug = organization.slug(organization_)
        if books.organization(slug) is None:
            slug = organization.add(books, organization_, kind=kind, billing=None, row=row)
        typer.echo(token.create(books, slug, wanted=scope, label=label))


@destinations.command("add")
def destination_add(
    organization_: Organization,
    name: Annotated[str, typer.Argument(help="A short name: lower case letters, digits, hyphens.")],
    url: Annotated[str, typer.Argument(help="The FHIR base of the record system.")],
    authorization: Annotated[Path | None, typer.Option(help="File with the Authorization header's value.")] = None,
) -> None:
    """Send what is finished there from now on."""
    with opening.books() as books:
        slug = organization.slug(organization_)
        destination.add(books, organization=slug, name=name, url=url, authorization=authorization)


@destinations.command("list")
def destination_list(organization_: Annotated[str, typer.Option("--organization")] = "") -> None:
    """List destinations; credentials are never shown."""
    with opening.books() as books:
        destination.list_(books, organization=organization.slug(organization_))


@destinations.command("enable")
def destination_enable(organization_: Organization, name: str) -> None:
    """Switch a destination on again; what waited goes out."""
    with opening.books() as books:
        destination.switch(books, organization=organization.slug(organization_), name=name, active=True)


@destinations.command("disable")
def destination_disable(organization_: Organization, name: str) -> None:
    """Switch a destination off; its posts wait."""
    with opening.books() as books:
        destination.switch(books, organization=organization.slug(organization_), name=name, active=False)


@posts.command("list")
def deliveries_list(
    organization_: Organization,
    state: Annotated[str, typer.Option(help="waiting, delivered, dead or skipped.")] = "",
    limit: Annotated[int, typer.Option(min=1, max=10_000)] = 50,
    as_json: Annotated[bool, typer.Option("--json")] = False,
) -> None:
    """The newest posts."""
    with opening.books() as books:
        slug = organization.slug(organization_)
        deliveries.list_(books, organization=slug, state=state, limit=limit, as_json=as_json)


@posts.command("show")
def deliveries_show(
    organization_: Organization,
    post: str,
    body: Annotated[bool, typer.Option(help="Print the bytes promised.")] = False,
    whole: Annotated[bool, typer.Option(help="Print answers unshortened.")] = False,
) -> None:
    """One post with all its attempts."""
    with opening.books() as books:
        deliveries.show(books, organization=organization.slug(organization_), post=post, body=body, whole=whole)


@posts.command("replay")
def deliveries_replay(organization_: Organization, post: str, by: By) -> None:
    """Send a post again; what happened before stays on record."""
    with opening.books() as books:
        deliveries.replay(books, organization=organization.slug(organization_), post=post, by=by)


@posts.command("skip")
def deliveries_skip(organization_: Organization, post: str, by: By) -> None:
    """Let the exam's later posts pass a dead one."""
    with opening.books() as books:
        deliveries.skip(books, organization=organization.slug(organization_), post=post, by=by)


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
    "token": tokens,
    "destination": destinations,
    "deliveries": posts,
    "urgent": urgents,
}
