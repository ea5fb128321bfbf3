"""The command line as a door: words typed into the one function that does them."""

from pathlib import Path
from typing import Annotated

import typer

from service import app as front
from service import worker as back
from service.api import log
from service.basics.version import VERSION
from service.commands import checking, description, opening, rebuilding
from service.commands import unmapped as unknown
from service.commands.groups import GROUPS
from service.commands.organization import slug
from service.demo import story
from service.store.migrate import migrate as migrated

WHAT = "Sonoledger: an HL7 FHIR R4 integration service for abdominal ultrasound of dogs and cats."
commands = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, help=WHAT)
for name, group in GROUPS.items():
    commands.add_typer(group, name=name)


@commands.command()
def serve(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65_535, help="Port to listen on.")] = 8000,
    with_courier: Annotated[bool, typer.Option("--with-courier", help="Carry posts in this process too.")] = False,
) -> None:
    """Answer HTTP."""
    settings = opening.settings()
    catalogue = opening.catalogue(settings)
    books = opening.ready_books(settings)
    front.serve(settings, books, catalogue, host=host, port=port, courier=back.run if with_courier else None)


@commands.command()
def work() -> None:
    """Carry finished posts to their destinations until stopped."""
    settings = opening.settings()
    with opening.books() as books:
        log.to_stdout(settings.log_level)
        back.run(books, stop=back.stop_on_signals(), pause=settings.courier_pause, timeout=settings.courier_timeout)


@commands.command()
def migrate() -> None:
    """Bring the database to the schema of this version."""
    settings = opening.settings()
    migrated(settings.database_url, allow_unsafe=settings.unsafe_engine)
    typer.echo("the database is at the schema of this version")


@commands.command()
def check() -> None:
    """Check settings and mappings, offline, and list all faults."""
    checking.check()


@commands.command()
def demo(
    folder: Annotated[Path, typer.Option(help="Where report, invoice and delivered Bundle are left.")] = Path(
        "demo-output"
    ),
    keep: Annotated[bool, typer.Option("--keep", help="Keep the service up and print curl lines to try.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="End with one JSON object of figures.")] = False,
) -> None:
    """Play one exam of an invented dog, and a shorter one of a cat, through the whole service."""
    raise typer.Exit(story.play(folder, keep=keep, as_json=as_json))


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


def main() -> None:
    """Run the command line."""
    commands()


if __name__ == "__main__":
    main()
