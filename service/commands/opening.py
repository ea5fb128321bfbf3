"""The settings, catalogue and store that a command works with, or the reason why not."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from service import store
from service.catalogue.files import read_folder
from service.catalogue.load import CatalogueFaults, load
from service.catalogue.catalogue import Catalogue
from service.commands import stop
from service.settings import Settings, SettingsFaults


def settings() -> Settings:
    """The settings of this process; ends the command naming all that is wrong with them."""
    try:
        return Settings.read(os.environ)
    except SettingsFaults as faults:
        raise stop.stop(faults.faults, stop.SETTINGS) from None


def catalogue(found: Settings) -> Catalogue:
    """The catalogue of the settings' folder; ends the command naming all faults by file and line."""
    try:
        return load(read_folder(Path(found.mappings) if found.mappings else None))
    except CatalogueFaults as faults:
        raise stop.stop(faults.faults, stop.SETTINGS) from None


@contextmanager
def books() -> Iterator[store.SqlBooks]:
    """The store, its schema made when it is empty; ends the command when it can't be reached or is behind."""
    found = settings()
    opened = ready_books(found)
    try:
        yield opened
    finally:
        opened.close()


def ready_books(found: Settings) -> store.SqlBooks:
    """The store of the settings, ready to be used."""
    try:
        store.prepare(found.database_url)
        opened = store.open_books(found.database_url, unsafe=found.unsafe_engine)
        faults = opened.ready()
    except store.StoreFault as fault:
        raise stop.stop(str(fault), stop.STORE) from None
    if faults:
        opened.close()
        raise stop.stop(faults, stop.STORE)
    return opened
