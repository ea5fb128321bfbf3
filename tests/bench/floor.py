"""The least that any store must do: bodies into a table without an index, through the raw driver, on disk when done."""

import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Protocol

import psycopg

from service.fhir import exact


class Floor(Protocol):
    """A bare table of bodies on one engine."""

    def insert(self, bodies: Sequence[bytes]) -> None:
        """All of them in one commit."""

    def close(self) -> None: ...


class FileFloor:
    """SQLite with the service's own promises: write-ahead log, synchronous=FULL."""

    def __init__(self, file: Path) -> None:
        self._connection = sqlite3.connect(file, isolation_level=None, check_same_thread=False)
        self._connection.execute("PRAGMA journal_mode=WAL")
        self._connection.execute("PRAGMA synchronous=FULL")
        self._connection.execute("CREATE TABLE IF NOT EXISTS bare (id TEXT, body BLOB)")

    def insert(self, bodies: Sequence[bytes]) -> None:
        self._connection.execute("BEGIN IMMEDIATE")
        self._connection.executemany("INSERT INTO bare (id, body) VALUES (?, ?)", [("x" * 36, b) for b in bodies])
        self._connection.execute("COMMIT")

    def close(self) -> None:
        self._connection.close()


class ServerFloor:
    """PostgreSQL through binary COPY, the fastest way in."""

    def __init__(self, url: str) -> None:
        self._connection: psycopg.Connection[Any] = psycopg.connect(url)
        self._connection.execute("CREATE TABLE IF NOT EXISTS bare (id TEXT, body BYTEA)")
        self._connection.commit()

    def insert(self, bodies: Sequence[bytes]) -> None:
        with self._connection.cursor() as cursor, cursor.copy("COPY bare FROM STDIN (FORMAT BINARY)") as copy:
            copy.set_types(("text", "bytea"))
            for body in bodies:
                copy.write_row(("x" * 36, body))
        self._connection.commit()

    def close(self) -> None:
        self._connection.close()


def floor(url: str, *, folder: Path) -> Floor:
    """A bare table beside the database of this URL: for SQLite a file of its own, else in that database."""
    return FileFloor(folder / "bare.sqlite") if url.startswith("sqlite") else ServerFloor(url)


def settle(url: str) -> None:
    """Gather statistics now, as PostgreSQL does by itself within its first minute of work; SQLite needs none."""
    if not url.startswith("sqlite"):
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute("ANALYZE")


def accepted(bare: Floor, text: bytes, bodies: Sequence[bytes]) -> None:
    """The least that an accepted Bundle costs: its text decoded, and all bodies that it leaves behind inserted."""
    exact.decode(text)
    bare.insert(bodies)
