"""One driver connection inside one transaction: runs SQL written once for both engines."""

import threading
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from typing import Any

import psycopg
from sqlalchemy import Engine, PoolProxiedConnection

from service.store.engine import BUSY_MILLISECONDS, is_postgres
from service.store.faults import DRIVERS, busy, refusal_of, refusals, unknown_outcome
from service.store.lent import Lender
from service.store.parts import part, stands

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
        self._lender = Lender(engine)
        self._writer = threading.Lock()  # threads of one process queue here instead of polling SQLite's lock
        self._joint = threading.local()  # the connection of the transaction that this thread's units of work share

    def reading(self) -> "Reading":
        """One consistent look; nothing can be written through it."""
        return Reading(self._lender, self.shared(), postgres=self.postgres)

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
        joint = self.shared()
        with refusals(), self._alone() if joint is None else part(joint) as connection:
            yield Session(connection, postgres=False)

    @contextmanager
    def together(self) -> Iterator[None]:
        """What this thread writes and looks at inside shares one commit on SQLite; a unit that raises is undone alone.

        Nothing that was done inside may be told to anyone before the block has ended without raising."""
        if self.postgres or self.shared() is not None:
            yield
            return
        with refusals(), self._alone() as connection:
            self._joint.connection = connection
            try:
                yield
            finally:
                self._joint.connection = None
            stands(connection)

    def shared(self) -> Any:
        """The connection of the transaction that this thread's units of work share, or None."""
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
        pooled = self._lender.take()
        try:
            yield pooled.driver_connection
        except BaseException:
            self._lender.drop(pooled)
            raise
        self._lender.give(pooled)

    def close(self) -> None:
        """Give all connections back."""
        self._lender.close()


class Reading:
    """A look through one connection; plain methods, for a generator costs as much as the row that is read."""

    __slots__ = ("_joint", "_lender", "_pooled", "_postgres")

    def __init__(self, lender: Lender, joint: Any, *, postgres: bool) -> None:
        self._lender, self._joint, self._postgres = lender, joint, postgres
        self._pooled: PoolProxiedConnection | None = None

    def __enter__(self) -> Session:
        """A session that sees one state; Busy when no connection can be had."""
        if self._joint is not None:
            return Session(self._joint, postgres=False)
        try:
            self._pooled = self._lender.take()
            return self._begun(self._pooled.driver_connection)
        except Exception as error:
            self.__exit__(type(error), error, error.__traceback__)
            raise

    def _begun(self, connection: Any) -> Session:
        if self._postgres:
            connection.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ
            connection.read_only = True
        else:
            connection.execute("BEGIN")
        return Session(connection, postgres=self._postgres)

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: object) -> None:
        """The connection goes back; a driver's error comes out as a refusal."""
        pooled, self._pooled = self._pooled, None
        if pooled is not None:
            if error is None:
                self._lender.ended(pooled)
            else:
                self._lender.drop(pooled)
        refusal = refusal_of(error) if isinstance(error, DRIVERS) else None
        if refusal is not None:
            raise refusal from error


def _commit(connection: psycopg.Connection[Any]) -> None:
    try:
        connection.commit()
    except (psycopg.OperationalError, psycopg.InterfaceError) as error:
        if error.sqlstate is None or connection.closed:
            raise unknown_outcome() from error
        raise
