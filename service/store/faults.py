"""Driver errors, turned into refusals that say nothing of the inside."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

import psycopg
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from service.basics.errors import Busy, Conflict, Fault, Full, Refusal

RETRYABLE = (Busy,)  # of these, what `retryable` says yes to may simply be done again

DRIVERS = (sqlite3.Error, psycopg.Error, DBAPIError, PoolTimeout)
_RETRY_AFTER = 1  # seconds

_POSTGRES_BUSY = frozenset({"40001", "40P01", "55P03", "57014", "25P03", "53300", "57P01", "57P02", "57P03"})
_POSTGRES_FULL = frozenset({"53100", "53200", "58030", "58P01", "XX001", "XX002"})
_POSTGRES_TAKEN = "23505"  # unique_violation

_SQLITE_BUSY = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_INTERRUPT})
_SQLITE_FULL = frozenset(
    {
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_CORRUPT,
    }
)
_SQLITE_TAKEN = frozenset({sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY})


def busy(text: str = "The store is busy; try again shortly.") -> Busy:
    """A refusal that may simply be tried again."""
    return Busy(Fault("transient", text), retry_after=_RETRY_AFTER)


def unknown_outcome() -> Busy:
    """The connection broke while committing: the change may be stored or not, but never in part."""
    return Busy(Fault("timeout", "The store did not confirm; the change may have been made. Look before repeating it."))


def retryable(refusal: Refusal) -> bool:
    """True when nothing was stored for certain, so that the same work may be done again."""
    return isinstance(refusal, RETRYABLE) and refusal.retry_after is not None


def _taken() -> Conflict:
    return Conflict(Fault("conflict", "Another request took this identity or changed this row first."))


def _full() -> Full:
    return Full(Fault("no-store", "The storage cannot take it; nothing was stored. An operator has to look at it."))


def _of_postgres(error: psycopg.Error) -> Refusal | None:
    state = error.sqlstate
    if state == _POSTGRES_TAKEN:
        return _taken()
    if state in _POSTGRES_FULL:
        return _full()
    lost = state is None and isinstance(error, psycopg.OperationalError | psycopg.InterfaceError)
    return busy() if lost or state in _POSTGRES_BUSY or (state or "").startswith("08") else None


def _of_sqlite(error: sqlite3.Error) -> Refusal | None:
    code = getattr(error, "sqlite_errorcode", 0)
    if code in _SQLITE_TAKEN:
        return _taken()
    if code & 0xFF in _SQLITE_FULL:  # the low byte is the kind, the rest says where
        return _full()
    return busy() if code & 0xFF in _SQLITE_BUSY else None


def refusal_of(error: BaseException) -> Refusal | None:
    """What a driver's error means to a caller; None when it is a fault of this program."""
    if isinstance(error, PoolTimeout):
        return busy()
    cause = error.orig if isinstance(error, DBAPIError) else error
    if isinstance(cause, psycopg.Error):
        return _of_postgres(cause)
    return _of_sqlite(cause) if isinstance(cause, sqlite3.Error) else None


@contextmanager
def refusals() -> Iterator[None]:
    """Inside, driver errors that a caller can act on come out as refusals."""
    try:
        yield
    except DRIVERS as error:
        refusal = refusal_of(error)
        if refusal is None:
            raise
        raise refusal from error
