"""`webhook add|rotate|settle|list|enable|disable`: record systems that may send signed messages."""

import re
from dataclasses import replace
from datetime import UTC, datetime

from service.access import signature
from service.commands import stop
from service.commands.table import printable, table
from service.store import SqlBooks
from service.store.signing import HookRow

_NAME = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,58}[a-z0-9])?")


def add(books: SqlBooks, *, organization: str, name: str) -> None:
    """Let somebody send signed messages; prints the secret once, alone."""
    if books.organization(organization) is None:
        raise stop.stop(f"there is no organisation {printable(organization)}")
    if not _NAME.fullmatch(name):
        raise stop.stop("a sender's name has 1 to 60 lower case letters, digits and hyphens")
    if books.hook(organization, name) is not None:
        raise stop.stop(f"{printable(organization)} has a sender {name} already; `webhook rotate` makes a new secret")
    secret = signature.new_secret()
    made = datetime.now(UTC).isoformat(timespec="seconds")
    books.save_hook(organization, HookRow(name, (secret,), made, active=True))
    print(secret)


def rotate(books: SqlBooks, *, organization: str, name: str) -> None:
    """Make a new secret and print it, alone; the one before is good as well until it is settled."""
    found = _found(books, organization, name)
    secret = signature.new_secret()
    books.save_hook(organization, replace(found, secrets=(secret, found.secrets[0])))
    print(secret)


def settle(books: SqlBooks, *, organization: str, name: str) -> None:
    """Let the newest secret alone be good."""
    found = _found(books, organization, name)
    books.save_hook(organization, replace(found, secrets=found.secrets[:1]))
    print(f"{name} signs by its newest secret alone")


def switch(books: SqlBooks, *, organization: str, name: str, active: bool) -> None:
    """Take a sender's messages, or take them no more."""
    books.save_hook(organization, replace(_found(books, organization, name), active=active))
    print(f"{name} is {'heard' if active else 'refused'}")


def list_(books: SqlBooks, *, organization: str) -> None:
    """Print who may send messages; secrets are never shown again."""
    rows = [(h.name, h.made, str(len(h.secrets)), "active" if h.active else "off") for h in books.hooks(organization)]
    for line in table(("sender", "made", "secrets", "state"), rows):
        print(line)


def _found(books: SqlBooks, organization: str, name: str) -> HookRow:
    found = books.hook(organization, name)
    if found is None:
        raise stop.stop(f"{printable(organization)} has no sender {printable(name)}")
    return found
