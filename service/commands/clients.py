"""`client add|list|keys|enable|disable`: programs that ask for tokens by a signed assertion."""

from dataclasses import replace
from pathlib import Path

from service.access import backend
from service.access.assertion import key_set
from service.basics.access import Client
from service.basics.errors import Invalid
from service.basics.ids import new_id
from service.commands import opening, stop
from service.commands.table import printable, table
from service.courier.guard import fetched
from service.store import SqlBooks


def add(books: SqlBooks, client: Client, *, keys: Path | None) -> None:
    """Register a client and print its id, alone; ends the command naming everything that is wrong with it.

    Its public keys are in a file or, once, fetched from client.keys_url: data that comes later can't name others."""
    if books.organization(client.organization) is None:
        raise stop.stop(f"there is no organisation {printable(client.organization)}")
    text = _keys(keys, client.keys_url)
    try:
        made = backend.registered(replace(client, id=new_id(), keys=text))
    except Invalid as refusal:
        raise stop.stop([fault.text for fault in refusal.faults]) from None
    if not books.add_client(made):
        raise stop.stop(f"{made.organization} has a client {printable(made.name)} already")
    print(made.id)


def renew(books: SqlBooks, organization: str, name: str, *, keys: Path | None) -> None:
    """Put other public keys in the place of a client's: from a file, or fetched again from where they were."""
    found = next((one for one in books.clients(organization) if one.name == name), None)
    if found is None:
        raise stop.stop(f"{printable(organization)} has no client {printable(name)}")
    try:
        text = key_set(_keys(keys, found.keys_url))
    except Invalid as refusal:
        raise stop.stop([fault.text for fault in refusal.faults]) from None
    books.renew_keys(organization, name, text)
    print(f"{printable(name)} has new keys; those before are worthless")


def switch(books: SqlBooks, organization: str, name: str, *, active: bool) -> None:
    """Enable or disable a client; disabled, it gets no tokens and those it has are worthless."""
    if not books.switch_client(organization, name, active=active):
        raise stop.stop(f"{printable(organization)} has no client {printable(name)}")
    print(f"{printable(name)} is {'active' if active else 'off, and its tokens with it'}")


def list_(books: SqlBooks, organization: str) -> None:
    """Print the clients of an organisation."""
    rows = [
        (
            one.name,
            one.id,
            one.role,
            " ".join(one.scopes),
            one.keys_url or "given",
            one.refreshed,
            "active" if one.active else "off",
        )
        for one in books.clients(organization)
    ]
    for line in table(("client", "id", "role", "scopes", "keys", "keys of", "state"), rows):
        print(line)


def _keys(file: Path | None, url: str) -> str:
    if bool(file) == bool(url):
        raise stop.stop("give the public keys as a file (--keys) or as an address they are fetched from (--keys-url)")
    try:
        if file:
            return file.read_text(encoding="utf-8")
        return fetched(url, private=opening.settings().private_hosts).decode()
    except OSError as error:
        raise stop.stop(f"{file}: {error.strerror}") from None
    except ValueError as error:
        raise stop.stop(f"{printable(url or str(file))}: {error}") from None
