"""Business identities, turned into unique rows that parallel callers queue for."""

import hashlib

from service.store.session import Session

_LONGEST = 500  # PostgreSQL's index takes 2,700 bytes of key, and a letter may have four
_TAKE = (
    "INSERT INTO claim (organization, type, criteria, id) VALUES (?, ?, ?, ?)"
    " ON CONFLICT (organization, type, criteria) DO NOTHING RETURNING id"
)
_HOLDER = "SELECT id FROM claim WHERE organization = ? AND type = ? AND criteria = ?"
_MOVE = (
    "INSERT INTO claim (organization, type, criteria, id) VALUES (?, ?, ?, ?)"
    " ON CONFLICT (organization, type, criteria) DO UPDATE SET id = excluded.id"
)
_DROP = "DELETE FROM claim WHERE organization = ? AND type = ? AND id = ?"


def named(criteria: str) -> str:
    """The criteria as a row holds them: long ones by their SHA-256."""
    if len(criteria) <= _LONGEST:
        return criteria
    return "sha256:" + hashlib.sha256(criteria.encode()).hexdigest()


def take(session: Session, organization: str, *, type_: str, criteria: str, id_: str) -> str | None:
    """None when it was free and is now id_'s; else who has it. Waits for whoever is about to take it."""
    name = named(criteria)
    while not session.rows(_TAKE, organization, type_, name, id_):
        found = session.one(_HOLDER + session.hold, organization, type_, name)
        if found is not None:  # else it was dropped between the two looks
            holder: str = found[0]
            return holder
    return None


def move(session: Session, organization: str, *, type_: str, criteria: str, id_: str) -> None:
    """Give it to id_, whoever had it."""
    session.run(_MOVE, organization, type_, named(criteria), id_)


def drop(session: Session, organization: str, *, type_: str, id_: str) -> None:
    """Free all that id_ has."""
    session.run(_DROP, organization, type_, id_)
