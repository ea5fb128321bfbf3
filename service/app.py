"""The front door: serves the web application, with what looks and carries beside it."""

import ctypes
import gc
import threading
from collections.abc import Callable
from contextlib import suppress

from service.actions import watching
from service.actions.ports import House
from service.api import log
from service.api.listen import listen
from service.catalogue.catalogue import Catalogue
from service.catalogue.load import Catalogues
from service.courier.home import AtHome
from service.fhir import validate
from service.joined import application
from service.settings import Settings
from service.store import SqlBooks

ARENAS, MAPPED_FROM = -8, -3  # M_ARENA_MAX and M_MMAP_THRESHOLD of glibc's malloc.h


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
