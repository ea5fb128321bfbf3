"""How a command ends badly: one clear line on stderr and an exit code that means something."""

from collections.abc import Iterable

import typer

FAULTS = 1  # something was looked at and is wrong, or is not there
SETTINGS = 3  # the settings or the mappings can't be used
STORE = 4  # the database can't be reached or needs `migrate`


def stop(lines: str | Iterable[str], code: int = FAULTS) -> typer.Exit:
    """The exit to raise after saying why, a line for each thing."""
    for line in [lines] if isinstance(lines, str) else lines:
        typer.echo(f"sonoledger: {line}", err=True)
    return typer.Exit(code)
