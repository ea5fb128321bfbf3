"""One driver connection inside one transaction: runs SQL written once for both engines."""

import sqlite3
import threading
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from typing import Any

import psycopg
from sqlalchemy import Engine, PoolProxiedConnection

from service.store.engine import BUSY_MILLISECONDS, is_postgres
from service.store.faults import busy, refusals, unknown_outcome

Row = tuple[Any, ...]


@lru_cache(maxsize=1024)
def _for_postgres(sql: str) -> str:
    return sql.replace("?", "%s")  # no text of ours holds a literal question mark or percent sign


class Session:
    """Runs statements with `?` places; rows come back as tuples."""

    __slots__ = ("connection", "cursor", "postgres")

    def __init__(self, connection: Any, *, postgres: bool) -> None:
        self.postgres = postgres
        self.connection = connection
        self.cursor: Any = connection.cursor(binary=True) if postgres else connection.cursor()

    def rows(self, sql: str, *params: object) -> list[Row]:
        """All rows of a query."""
        found: list[Row] = self.cursor.execute(_for_postgres(sql) if self.postgres else sql, params).fetchall()
        return found

    def one(self, sql: str, *params: object) -> Row | None:
        """The first row of a query, or None."""
        found: Row | None = self.cursor.execute(_for_postgres(sql) if self.postgres else sql, params).fetchone()
        return found

    def run(self, sql: str, *params: object) -> int:
        """Run a change; the number of rows it touched."""
        touched: int = self.cursor.execute(_for_postgres(sql) if self.postgres else sql, params).rowcount
        return touched

    def many(self, sql: str, lines: Iterable[Sequence[object]]) -> None:
        """Run a change once for each line of values."""
        values = list(lines)
        if len(values) == 1:
            self.run(sql, *values[0])  # one round trip, where many at once take three
        elif values:
            self.cursor.executemany(_for_postgres(sql) if self.postgres else sql, values)

    @property
    def hold(self) -> str:
        """What a SELECT ends with to keep its rows until the end of the transaction; on SQLite the writer is alone."""
        return " FOR UPDATE" if self.postgres else ""


class Pool:
    """Hands out sessions: many readers, and on SQLite one writer at a time."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.postgres = is_postgres(engine)
        self._writer = threading.Lock()  # threads of one process queue here instead of polling SQLite's lock
        self._joint = threading.local()  # the connection of the transaction that this thread's units of work share

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """One consistent look; nothing can be written through it."""
        if (joint := self._shared()) is not None:
            yield Session(joint, postgres=False)
            return
        with refusals(), self._connection() as connection:
            if self.postgres:
                connection.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ
                connection.read_only = True
            else:
                connection.execute("BEGIN")
            yield Session(connection, postgres=self.postgres)
            connection.rollback()

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """One transaction: committed when the block ends, undone when it raises."""
        if self.postgres:
            with refusals(), self._connection() as connection:
                connection.isolation_level = psycopg.IsolationLevel.READ_COMMITTED
                connection.read_only = False
                yield Session(connection, postgres=True)
                _commit(connection)
            return
        joint = self._shared()
        with refusals(), self._alone() if joint is None else _part(joint) as connection:
            yield Session(connection, postgres=False)

    @contextmanager
    def together(self) -> Iterator[None]:
        """What this thread writes and looks at inside shares one commit on SQLite; a unit that raises is undone alone.

        Nothing that was done inside may be told to anyone before the block has ended without raising."""
        if self.postgres or self._shared() is not None:
            yield
            return
        with refusals(), self._alone() as connection:
            self._joint.connection = connection
            try:
                yield
            finally:
                self._joint.connection = None
            _stands(connection)

    def _shared(self) -> Any:
        return getattr(self._joint, "connection", None)

    @contextmanager
    def _alone(self) -> Iterator[Any]:
        """A connection inside the one writing transaction that SQLite allows."""
        if not self._writer.acquire(timeout=BUSY_MILLISECONDS / 1000):
            raise busy()
        try:
            with self._connection() as connection:
                connection.execute("BEGIN IMMEDIATE")
                yield connection
                connection.execute("COMMIT")
        finally:
            self._writer.release()

    @contextmanager
    def _connection(self) -> Iterator[Any]:
        pooled = self.engine.raw_connection()
        try:
            yield pooled.driver_connection
        except BaseException:
            _undo(pooled)
            raise
        finally:
            pooled.close()


@contextmanager
def _part(connection: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    """A part of an open transaction, undone alone when it raises."""
    _stands(connection)
    connection.execute("SAVEPOINT part")
    try:
        yield connection
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK TO part")
            connection.execute("RELEASE part")
        raise
    _stands(connection)
    connection.execute("RELEASE part")


def _stands(connection: sqlite3.Connection) -> None:
    """SQLite gives up a whole transaction by itself when one statement meets a full or broken disk."""
    if not connection.in_transaction:
        raise busy()


def _commit(connection: psycopg.Connection[Any]) -> None:
    try:
        connection.commit()
    except (psycopg.OperationalError, psycopg.InterfaceError) as error:
        if error.sqlstate is None or connection.closed:
            raise unknown_outcome() from error
        raise


def _undo(pooled: PoolProxiedConnection) -> None:
    """Roll back; a connection that cannot is thrown away, so that the next caller gets a sound one."""
    connection: Any = pooled.driver_connection
    try:
        connection.rollback()
    except (sqlite3.Error, psycopg.Error):
        pooled.invalidate()
