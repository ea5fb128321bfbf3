"""`check`: settings and mappings looked over offline, all faults listed."""

import os
from pathlib import Path

import typer

from service.catalogue.check import faults as catalogue_faults
from service.catalogue.files import read_folder
from service.commands import stop
from service.settings import Settings, SettingsFaults


def check() -> None:
    """Print what was looked at; ends the command with every fault when there is any."""
    faults: list[str] = []
    folder = ""
    try:
        folder = Settings.read(os.environ).mappings
    except SettingsFaults as wrong:
        faults += wrong.faults
    try:
        files = read_folder(Path(folder) if folder else None)
        faults += catalogue_faults(files)
    except OSError as error:
        faults.append(f"{folder}: {error.strerror}")
        files = {}
    if faults:
        raise stop.stop(faults)
    rows = sum(max(0, text.count("\n") - 1) for text in files.values())
    typer.echo(f"settings and {len(files)} mapping files with {rows} rows are in order")
