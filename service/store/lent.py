"""Driver connections, lent and kept at hand: a pool's own bookkeeping costs more than reading a row does."""

import sqlite3
from collections import deque
from typing import Any

import psycopg
from sqlalchemy import Engine, PoolProxiedConnection

_AT_HAND = 8


class Lender:
    """Threads may share it. Who borrows a connection gives it back at the end of a transaction, or drops it."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._free: deque[PoolProxiedConnection] = deque()

    def take(self) -> PoolProxiedConnection:
        """A connection outside of any transaction; the engine's pool says how many there can be."""
        try:
            return self._free.pop()
        except IndexError:
            return self._engine.raw_connection()

    def give(self, pooled: PoolProxiedConnection) -> None:
        """Back after a transaction that has ended."""
        if len(self._free) < _AT_HAND:
            self._free.append(pooled)
        else:
            pooled.close()

    def ended(self, pooled: PoolProxiedConnection) -> None:
        """Back after a look, which has nothing to commit."""
        connection: Any = pooled.driver_connection
        try:
            connection.rollback()
        except (sqlite3.Error, psycopg.Error):
            pooled.invalidate()
            pooled.close()
        else:
            self.give(pooled)

    def drop(self, pooled: PoolProxiedConnection) -> None:
        """Back after an error: rolled back, or thrown away when it cannot be; the next caller gets a sound one."""
        connection: Any = pooled.driver_connection
        try:
            connection.rollback()
        except (sqlite3.Error, psycopg.Error):
            pooled.invalidate()
        finally:
            pooled.close()

    def close(self) -> None:
        """Give all connections back to the engine and close them."""
        while self._free:
            self._free.pop().close()
        self._engine.dispose()
