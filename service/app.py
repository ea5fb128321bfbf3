"""The front door: joins store, catalogue and actions into the web application, and serves it."""

import ctypes
import gc
import threading
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from functools import partial

from service.access import addresses, scopes
from service.access.keyring import Bearer, Keyring
from service.actions import transact, watching
from service.actions.operations import OPERATIONS
from service.actions.ports import Caller, House
from service.api import log
from service.api.kit import Kit
from service.api.listen import listen
from service.api.serve import Application, create_app
from service.basics.version import VERSION
from service.catalogue.catalogue import Catalogue
from service.catalogue.load import Catalogues
from service.courier.home import AtHome
from service.fhir import printing, search, validate
from service.fhir.reading import bundle
from service.settings import Settings
from service.store import SqlBooks

ARENAS, MAPPED_FROM = -8, -3  # M_ARENA_MAX and M_MMAP_THRESHOLD of glibc's malloc.h


def application(
    books: SqlBooks,
    catalogue: Catalogue,
    *,
    base: str,
    docs: bool = True,
    origins: tuple[str, ...] = (),
    private: tuple[str, ...] = (),
) -> Application:
    """The web application over an open store. base is our own FHIR address, without a slash at its end.

    origins: of pages that may call it from a browser; private: hosts of one's own network that data may lead to."""
    kit = Kit(
        house=_house(books, catalogue, base, private),
        books=books,
        keys=Keyring(partial(_bearer, books)),
        transact=transact.transact,
        entries=bundle.entries,
        parse=search.parse,
        parameters=search.parameters,
        check=validate.check,
        profile=validate.profile,
        operations=OPERATIONS,
        version=VERSION,
        gauges={
            "posts_waiting": ("Posts that wait for delivery", lambda: _posts(books, "waiting")),
            "posts_dead": ("Posts that were given up and need a person", lambda: _posts(books, "dead")),
            "destinations_gone": ("Destinations switched off by 410 that need a person", books.gone),
        },
        docs=docs,
        origins=origins,
    )
    return create_app(kit)


def _bearer(books: SqlBooks, fingerprint: str) -> Bearer | None:
    row = books.token(fingerprint)
    if row is None:
        return None
    until = datetime.fromisoformat(row.until).timestamp() if row.until else 0.0
    return Bearer(row.organization, row.kind, row.scopes, row.label, row.role, row.party, until, row.client)


def _house(books: SqlBooks, catalogue: Catalogue, base: str, private: tuple[str, ...]) -> House:
    known, callable_ = Catalogues(catalogue, books.catalogue_text), partial(addresses.faults, private=private)
    return House(books, known, base, printing.press(), callable_, _may_watch)


def _may_watch(caller: Caller, type_: str) -> bool:
    return scopes.covers(caller.scopes, f"system/{type_}.rs")  # a part of a type would be told of whole


def _posts(books: SqlBooks, state: str) -> int:
    return sum(count for _, _, found, count, _ in books.backlog() if found == state)


def _beside(books: SqlBooks, catalogue: Catalogue, stop: threading.Event) -> list[threading.Thread]:
    house = House(books, Catalogues(catalogue, books.catalogue_text))
    return watching.threads(house, lambda: [o.slug for o in books.organizations() if o.kind != "records"], stop=stop)


def _be_thrifty() -> None:
    """Two heaps for all threads, not one each, and large blocks given back at once: with glibc, 5 MB of 160."""
    with suppress(AttributeError, OSError):
        glibc = ctypes.CDLL(None)
        glibc.mallopt(ARENAS, 2)
        glibc.mallopt(MAPPED_FROM, 64 * 1024)


def serve(
    settings: Settings,
    books: SqlBooks,
    catalogue: Catalogue,
    *,
    host: str,
    port: int,
    courier: Callable[..., object] | None = None,
) -> None:
    """Serve until SIGTERM or SIGINT; what is being answered is finished first. The store is closed at the end.

    courier, when given, carries posts in a thread of its own: called with books and keywords as worker.run has them."""
    log.to_stdout(settings.log_level)
    _be_thrifty()
    validate.prepare()
    base = settings.base_url or f"http://{host}:{port}/fhir"
    app = application(
        books, catalogue, base=base, docs=settings.docs, origins=settings.cors_origins, private=settings.private_hosts
    )
    gc.collect()
    gc.freeze()  # what is there by now stays: it need not be gone through again and again
    stop = threading.Event()
    times = {"pause": settings.courier_pause, "timeout": settings.courier_timeout, "private": settings.private_hosts}
    beside = _beside(books, catalogue, stop)
    if courier:
        times |= {"home": AtHome(lambda: House(books, Catalogues(catalogue, books.catalogue_text), base))}
        beside.append(threading.Thread(target=courier, args=(books,), kwargs={"stop": stop, "keys": books, **times}))
    for one in beside:
        one.start()
    try:
        listen(app, host=host, port=port)
    finally:
        stop.set()
        for one in beside:
            one.join()
        books.close()
