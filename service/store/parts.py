"""A part of a transaction that can be undone alone."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from service.store.faults import busy


@contextmanager
def part(connection: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    """A part of an open transaction, undone alone when it raises."""
    stands(connection)
    connection.execute("SAVEPOINT part")
    try:
        yield connection
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK TO part")
            connection.execute("RELEASE part")
        raise
    stands(connection)
    connection.execute("RELEASE part")


def stands(connection: sqlite3.Connection) -> None:
    """SQLite gives up a whole transaction by itself when one statement meets a full or broken disk."""
    if not connection.in_transaction:
        raise busy()
