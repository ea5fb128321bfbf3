"""`openapi`: the API's description written to files, or compared with the ones that are there."""

from pathlib import Path

import typer

from service.api import description
from service.basics.version import VERSION
from service.commands import stop


def write(folder: Path, *, only_check: bool) -> None:
    """Write openapi.json and capability.json; with only_check write nothing and end the command when they differ."""
    documents = description.documents(version=VERSION)
    if only_check:
        stale = [name for name, content in documents.items() if _there(folder / name) != content]
        if stale:
            raise stop.stop(f"{folder / name} is out of date: run `sonoledger openapi`" for name in stale)
        typer.echo(f"{len(documents)} descriptions are up to date")
        return
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in documents.items():
        (folder / name).write_bytes(content)
        typer.echo(str(folder / name))


def _there(path: Path) -> bytes:
    return path.read_bytes() if path.is_file() else b""
