"""The settings, catalogue and store that a command works with, or the reason why not."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from service.basics.errors import Refusal
from service.catalogue.catalogue import Catalogue
from service.catalogue.faults import CatalogueFaults
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.commands import stop
from service.settings import Settings, SettingsFaults
from service.store import SqlBooks, Unusable, open_books


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
    except (CatalogueFaults, OSError) as faults:
        raise stop.stop(str(faults).splitlines(), stop.SETTINGS) from None


def home(kept: SqlBooks, found: Settings) -> Callable[[Any], Any]:
    """What takes over posts to organisations of this very service; catalogue and all come with the first of them."""

    def take(post: Any) -> Any:
        from service.actions.ports import House  # noqa: PLC0415  # 60 MB that a courier without such posts needs not
        from service.catalogue.load import Catalogues  # noqa: PLC0415  # as above
        from service.courier.home import AtHome  # noqa: PLC0415  # as above

        if not made:
            rows = Catalogues(catalogue(found), kept.catalogue_text)
            made.append(AtHome(lambda: House(kept, rows, found.base_url or "http://127.0.0.1:8000/fhir")))
        return made[0](post)

    made: list[Any] = []
    return take


@contextmanager
def books() -> Iterator[SqlBooks]:
    """The store, its schema made when it is empty; ends the command when it can't be reached or is behind."""
    opened = ready_books(settings())
    try:
        yield opened
    finally:
        opened.close()


def ready_books(found: Settings) -> SqlBooks:
    """The store of the settings, ready to be used: an empty database is given its schema, an old one is refused."""
    try:
        opened = open_books(found.database_url, allow_unsafe=found.unsafe_engine)
        faults = opened.ready()
        if any("no schema yet" in fault for fault in faults):
            from service.store.migrate import migrate  # noqa: PLC0415  # 9 MB that a database with a schema needs not

            migrate(found.database_url, allow_unsafe=found.unsafe_engine)
            faults = opened.ready()
    except (Unusable, Refusal) as fault:
        raise stop.stop(str(fault), stop.STORE) from None
    if faults:
        opened.close()
        raise stop.stop(faults, stop.STORE)
    return opened
