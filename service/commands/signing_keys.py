"""`key add|list|retire` and `destination identify`: keys of our own, and who we are at a destination."""

import json
import re
from datetime import UTC, datetime

from service.access import scopes as scopes_of
from service.basics.errors import Refusal
from service.basics.signing import ALGORITHMS, in_turn
from service.commands import stop
from service.commands.table import printable, table
from service.store import SqlBooks

_CLIENT = re.compile(r"[!-~]{1,200}")


def add(books: SqlBooks, *, organization: str, algorithm: str, base: str) -> None:
    """Make a key; it signs half an hour later, when everybody can have seen it published, or at once when alone."""
    from service.access import own_keys  # noqa: PLC0415  # 15 MB that no other command should load

    _known(books, organization)
    try:
        made = own_keys.new_key(algorithm, now=datetime.now(UTC))
    except Refusal as refusal:
        raise stop.stop([fault.text for fault in refusal.faults]) from None
    books.add_signing_key(organization, made)
    print(made.kid)
    print(f"published at {base or '<our address>/fhir'}/.well-known/jwks/{organization}.json")


def list_(books: SqlBooks, *, organization: str) -> None:
    """Print the keys of an organisation and which of them sign now; private halves are never shown."""
    _known(books, organization)
    keys = books.signing_keys(organization)
    now_us = int(datetime.now(UTC).timestamp() * 1_000_000)
    signing = {one.kid for a in ALGORITHMS if (one := in_turn(keys, algorithms=[a], now_us=now_us))}
    rows = [
        (one.kid, one.alg, one.made, f"retired {one.retired}" if one.retired else "signs" if one.kid in signing else "")
        for one in keys
    ]
    for line in table(("key", "algorithm", "made", "state"), rows):
        print(line)


def retire(books: SqlBooks, *, organization: str, kid: str) -> None:
    """Publish a key no more and forget its private half."""
    if not books.retire_signing_key(organization, kid):
        raise stop.stop(f"{printable(organization)} has no key {printable(kid)} in use")
    print(f"{kid} is retired: what it signed is no longer proven")


def identify(
    books: SqlBooks, *, organization: str, name: str, client: str, scopes: list[str], algorithm: str = ""
) -> None:
    """Get tokens at a destination by a signed assertion instead of sending a fixed header."""
    known = books.destination(organization, name)
    faults = [] if known else [f"{printable(organization)} has no destination {printable(name)}"]
    faults += [] if _CLIENT.fullmatch(client) else ["a client's id has 1 to 200 printable characters without spaces"]
    faults += scopes_of.faults(scopes)
    if algorithm and algorithm not in ALGORITHMS:
        faults.append(f"an algorithm is one of {', '.join(ALGORITHMS)}")
    if faults or known is None:
        raise stop.stop(faults)
    smart = {"client": client, "scope": " ".join(scopes)} | ({"alg": algorithm} if algorithm else {})
    settings = json.dumps({**json.loads(known.settings or "{}"), "smart": smart})
    books.set_destination_settings(organization, name, settings)
    print(f"{name} is asked for tokens as {client}")
    if not any(not key.retired and algorithm in ("", key.alg) for key in books.signing_keys(organization)):
        print("caution: there is no key to sign with yet; make one with `key add`")


def _known(books: SqlBooks, organization: str) -> None:
    if books.organization(organization) is None:
        raise stop.stop(f"there is no organisation {printable(organization)}")
