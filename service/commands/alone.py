"""Commands that stand alone and need no server: migrate, check, unmapped, rebuild, openapi, version."""

from pathlib import Path
from typing import Annotated

import typer

from service.basics.version import VERSION
from service.commands import checking, description, opening, rebuilding
from service.commands import unmapped as unknown
from service.commands.organization import slug

commands = typer.Typer()


@commands.command()
def migrate() -> None:
    """Bring the database to the schema of this version."""
    from service.store import migrate as migrating  # noqa: PLC0415  # 9 MB that no other command should pay

    settings = opening.settings()
    migrating.migrate(settings.database_url, allow_unsafe=settings.unsafe_engine)
    typer.echo("the database is at the schema of this version")


@commands.command()
def check() -> None:
    """Check settings and mappings, offline, and list all faults."""
    checking.check()


@commands.command()
def unmapped(organization: Annotated[str, typer.Option(help="The organisation, by name or slug.")]) -> None:
    """List the codes that were sent and no mapping knows."""
    with opening.books() as books:
        unknown.list_(books, organization=slug(organization))


@commands.command()
def rebuild(organization: Annotated[str, typer.Option(help="Only this one.")] = "") -> None:
    """Derive search keys, claims and exam rows again from the resources."""
    with opening.books() as books:
        rebuilding.rebuild(books, opening.catalogue(opening.settings()), organization=organization)


@commands.command()
def openapi(
    folder: Annotated[Path, typer.Argument(help="Where openapi.json and capability.json go.")] = Path("openapi"),
    only_check: Annotated[bool, typer.Option("--check", help="Write nothing; fail when they differ.")] = False,
) -> None:
    """Write the API's description."""
    description.write(folder, only_check=only_check)


@commands.command()
def version() -> None:
    """Print the version, alone."""
    typer.echo(VERSION)
