"""A database URL, turned into a pool of connections with the settings that keep a promise."""

import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from service.store.faults import refusals

BUSY_MILLISECONDS = 10_000
_POOL = {"pool_size": 8, "max_overflow": 56, "pool_timeout": 10}
_POSTGRES_OPTIONS = (
    "-c timezone=UTC -c statement_timeout=30000 -c lock_timeout=10000 -c idle_in_transaction_session_timeout=60000"
)
_OLDEST = 130_000
_MUST_BE_ON = ("fsync", "synchronous_commit", "full_page_writes")


class Unusable(Exception):
    """The database cannot be used as it is; the text says what to change."""


def _url(text: str) -> URL:
    try:
        url = make_url(text)
    except ArgumentError as error:
        raise Unusable("The database URL cannot be read: sqlite:///FILE or postgresql://USER@HOST/NAME.") from error
    if url.get_backend_name() == "sqlite":
        if not url.database or url.database == ":memory:" or "mode=memory" in text:
            raise Unusable("SQLite needs a file: sqlite:///sonoledger.sqlite")
        return url.set(drivername="sqlite+pysqlite")
    if url.get_backend_name() == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    raise Unusable(f"{url.get_backend_name()} is not one of the two engines: sqlite, postgresql.")


def _set_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # we say BEGIN ourselves: deferred for views, IMMEDIATE for work
    connection.execute(f"PRAGMA busy_timeout={BUSY_MILLISECONDS}")
    mode = connection.execute("PRAGMA journal_mode=WAL").fetchone()[0]
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA foreign_keys=ON")
    connection.execute("PRAGMA cache_size=-6000")
    connection.execute("PRAGMA wal_autocheckpoint=4000")  # pages: 16 MiB of log between checkpoints
    if mode != "wal":
        raise Unusable("SQLite cannot keep a write-ahead log here; put the file on a local disk.")


def _check(engine: Engine) -> None:
    try:
        _check_postgres(engine)
    except Exception:
        engine.dispose()
        raise


def _check_postgres(engine: Engine) -> None:
    with engine.connect() as connection:
        raw: Any = connection.connection.driver_connection
        off = [name for name in _MUST_BE_ON if raw.execute(f"SHOW {name}").fetchone()[0] == "off"]
        if raw.info.server_version < _OLDEST:
            raise Unusable(f"PostgreSQL: version {_OLDEST // 10_000} or later is needed: page links hold snapshots.")
        if raw.info.parameter_status("server_encoding") != "UTF8":
            raise Unusable("PostgreSQL: the database must be encoded in UTF8.")
    if off:
        raise Unusable("PostgreSQL: " + ", ".join(f"{name} is off" for name in off) + "; a commit would not be kept.")


def make_engine(text: str, *, allow_unsafe: bool = False) -> Engine:
    """An engine whose commits are on disk when they return; Unusable says what is wrong with it."""
    url = _url(text)
    with refusals():
        if url.get_backend_name() == "sqlite":
            # every session ends its own transaction: the pool need not do it once more
            engine = create_engine(url, **_POOL, pool_reset_on_return=None, connect_args={"cached_statements": 512})
            event.listen(engine, "connect", _set_sqlite)
            if not Path(url.database or "").absolute().parent.is_dir():
                raise Unusable(f"There is no folder {Path(url.database or '').parent} for the SQLite file.")
        else:
            options = {"options": _POSTGRES_OPTIONS, "connect_timeout": 10, "application_name": "sonoledger"}
            engine = create_engine(url, **_POOL, pool_pre_ping=False, connect_args=options)
            if not allow_unsafe:
                _check(engine)
    return engine


def is_postgres(engine: Engine) -> bool:
    """True for PostgreSQL, False for SQLite."""
    return engine.dialect.name == "postgresql"
