"""`openapi`: the API's description written to files, or compared with the ones that are there."""

from pathlib import Path

import typer

from service.api import description
from service.commands import stop


def write(folder: Path, *, only_check: bool) -> None:
    """Write openapi.json and capability.json; with only_check write nothing and end the command when they differ."""
    documents = description.documents()
    if only_check:
        stale = [name for name, text in documents.items() if _there(folder / name) != text]
        if stale:
            raise stop.stop(f"{folder}/{name} is not what this version writes: run `sonoledger openapi`" for name in stale)
        typer.echo(f"{len(documents)} descriptions are up to date")
        return
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in documents.items():
        (folder / name).write_text(text, encoding="utf-8")
        typer.echo(str(folder / name))


def _there(path: Path) -> str:
    return path.read_text(encoding="utf-8") if path.is_file() else ""
