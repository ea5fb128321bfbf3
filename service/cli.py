"""The command line as a door: words typed into the one function that does them."""

from pathlib import Path
from typing import Annotated

import typer

from service.commands import alone, opening
from service.commands import catalogue as rows
from service.commands.groups import GROUPS

WHAT = "Sonoledger: an HL7 FHIR R4 integration service for abdominal ultrasound of dogs and cats."
commands = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, help=WHAT)
for name, group in GROUPS.items():
    commands.add_typer(group, name=name)
commands.add_typer(alone.commands)


@commands.command()
def serve(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65_535, help="Port to listen on.")] = 8000,
    with_courier: Annotated[bool, typer.Option("--with-courier", help="Carry posts in this process too.")] = False,
) -> None:
    """Answer HTTP."""
    from service import app as front  # noqa: PLC0415  # half a second that no other command should pay
    from service import worker as back  # noqa: PLC0415  # as above

    settings = opening.settings()
    catalogue = opening.catalogue(settings)
    books = opening.ready_books(settings)
    rows.all_fit(books, catalogue)
    front.serve(settings, books, catalogue, host=host, port=port, courier=back.run if with_courier else None)


@commands.command()
def work() -> None:
    """Carry finished posts to their destinations until stopped."""
    from service import worker as back  # noqa: PLC0415  # as in serve
    from service.api import log  # noqa: PLC0415  # as in serve

    settings = opening.settings()
    with opening.books() as books:
        log.to_stdout(settings.log_level)
        pause, timeout, private = settings.courier_pause, settings.courier_timeout, settings.private_hosts
        stop, home = back.stop_on_signals(), opening.home(books, settings)
        back.run(books, stop=stop, pause=pause, timeout=timeout, private=private, keys=books, home=home)


@commands.command()
def demo(
    folder: Annotated[Path, typer.Option(help="Where report, invoice and delivered Bundle are left.")] = Path(
        "demo-output"
    ),
    keep: Annotated[bool, typer.Option("--keep", help="Keep the service up and print curl lines to try.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="End with one JSON object of figures.")] = False,
) -> None:
    """Play one exam of an invented dog, and a shorter one of a cat, through the whole service."""
    from service.demo import story  # noqa: PLC0415  # as in serve

    raise typer.Exit(story.play(folder, keep=keep, as_json=as_json))


def main() -> None:
    """Run the command line."""
    commands()


if __name__ == "__main__":
    main()
