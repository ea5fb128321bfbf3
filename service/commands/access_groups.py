"""Commands in groups about who may come in and who did: `client`, `token` and `audit`."""

from pathlib import Path
from typing import Annotated

import typer

from service.basics.access import Client
from service.commands import audit, opening, organization, token

Organization = Annotated[str, typer.Option("--organization", help="The organisation, by name or slug.")]
Role = Annotated[str, typer.Option("--role", help="A ceiling over the scopes, such as scanner or bookkeeper.")]
Party = Annotated[str, typer.Option("--party", help="Of a referring clinic: Organization/<id>, whose orders it sees.")]
Keys = Annotated[Path | None, typer.Option("--keys", help="File with its public keys, a JWK Set.")]

clients = typer.Typer(no_args_is_help=True, help="Programs that get short tokens for a signed assertion.")
tokens = typer.Typer(no_args_is_help=True, help="Tokens by which organisations are known.")
audits = typer.Typer(no_args_is_help=True, help="Who did what, and who tried.")


@clients.command("add")
def client_add(
    organization_: Organization,
    name: Annotated[str, typer.Argument(help="What it is called, as it stands in the audit.")],
    scope: Annotated[list[str], typer.Option("--scope", help="All that it may ever ask for; may be repeated.")],
    role: Role = "",
    party: Party = "",
    keys: Keys = None,
    keys_url: Annotated[str, typer.Option(help="Where its JWK Set is fetched, now and at `client keys`.")] = "",
) -> None:
    """Register a program; prints its client id, alone."""
    from service.commands import clients as registering  # noqa: PLC0415  # 20 MB that no other command should pay

    slug = organization.slug(organization_)
    with opening.books() as books:
        registering.add(books, Client("", slug, name, role, party, tuple(scope), "", keys_url), keys=keys)


@clients.command("list")
def client_list(organization_: Organization) -> None:
    """List the programs of an organisation."""
    from service.commands import clients as registering  # noqa: PLC0415  # as above

    with opening.books() as books:
        registering.list_(books, organization.slug(organization_))


@clients.command("keys")
def client_keys(organization_: Organization, name: str, keys: Keys = None) -> None:
    """Give a program other public keys: from a file, or fetched again."""
    from service.commands import clients as registering  # noqa: PLC0415  # as above

    with opening.books() as books:
        registering.renew(books, organization.slug(organization_), name, keys=keys)


@clients.command("enable")
def client_enable(organization_: Organization, name: str) -> None:
    """Let a program in again."""
    from service.commands import clients as registering  # noqa: PLC0415  # as above

    with opening.books() as books:
        registering.switch(books, organization.slug(organization_), name, active=True)


@clients.command("disable")
def client_disable(organization_: Organization, name: str) -> None:
    """Shut a program out; its tokens are worthless at once."""
    from service.commands import clients as registering  # noqa: PLC0415  # as above

    with opening.books() as books:
        registering.switch(books, organization.slug(organization_), name, active=False)


@tokens.command("create")
def token_create(
    organization_: Organization,
    scope: Annotated[list[str] | None, typer.Option("--scope", help="Such as system/*.cruds; may be repeated.")] = None,
    role: Role = "",
    party: Party = "",
    kind: Annotated[str, typer.Option(help="Kind of the organisation when it is new.")] = "practice",
    label: Annotated[str, typer.Option(help="What the token is for, as it stands in the audit.")] = "command line",
) -> None:
    """Make a token (and the organisation when it is new); prints the token once, alone."""
    row = opening.catalogue(opening.settings()).practices["*"]
    with opening.books() as books:
        slug = organization.slug(organization_)
        if books.organization(slug) is None:
            slug = organization.add(books, organization_, kind=kind, billing=None, row=row)
        typer.echo(token.create(books, slug, wanted=scope or [], label=label, role=role, party=party))


@tokens.command("list")
def token_list(organization_: Organization) -> None:
    """List the tokens that are good; what is shown opens nothing."""
    with opening.books() as books:
        token.list_(books, organization.slug(organization_))


@tokens.command("revoke")
def token_revoke(organization_: Organization, name: Annotated[str, typer.Argument(help="As `list` shows it.")]) -> None:
    """Make a token worthless."""
    with opening.books() as books:
        token.revoke(books, organization.slug(organization_), name)


@audits.command("list")
def audit_list(
    organization_: Annotated[str, typer.Option("--organization", help="Without it: those whom nobody knows.")] = "",
    animal: Annotated[str, typer.Option("--animal", help="Only what touched this animal's record: its id.")] = "",
    since: Annotated[str, typer.Option(help="Only from this day on, such as 2026-11-25.")] = "",
    limit: Annotated[int, typer.Option(min=1, max=100_000)] = 100,
    as_json: Annotated[bool, typer.Option("--json", help="A JSON object a line.")] = False,
) -> None:
    """Who looked at or changed what, the newest first."""
    catalogue = opening.catalogue(opening.settings())
    slug = organization.slug(organization_) if organization_ else ""
    with opening.books() as books:
        audit.list_(books, catalogue, organization=slug, animal=animal, since=since, limit=limit, as_json=as_json)
