"""The rooms joined: store, catalogue and actions into the web application."""

from datetime import datetime
from functools import partial

from service.access import addresses, scopes
from service.access.keyring import Bearer, Keyring
from service.actions import transact
from service.actions.operations import OPERATIONS
from service.actions.ports import Caller, House
from service.api.kit import Kit
from service.api.serve import Application, create_app
from service.basics.version import VERSION
from service.catalogue.catalogue import Catalogue
from service.catalogue.load import Catalogues
from service.fhir import printing, search, validate
from service.fhir.reading import bundle
from service.store import SqlBooks


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
