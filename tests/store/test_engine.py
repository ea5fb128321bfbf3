"""Engines: settings that keep a promise, and every fault of a driver as a refusal that says nothing of the inside."""

import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import psycopg
import pytest
from sqlalchemy.engine import make_url

from service.basics.errors import Busy, Conflict, Full, Refusal
from service.store import SqlBooks, Unusable, open_books, retryable
from service.store.faults import refusal_of, unknown_outcome
from service.store.session import Pool
from tests.builders.engines import Databases
from tests.builders.records import new, version


def _pool(books: SqlBooks) -> Pool:
    return books._pool


def test_sqlite_syncs_before_a_commit_returns(database_url: Callable[[str], str]) -> None:
    # synchronous=2 is FULL: https://www.sqlite.org/pragma.html#pragma_synchronous
    books = open_books(database_url("sqlite"))
    with _pool(books).writing() as session:
        pragmas = {
            name: session.rows(f"PRAGMA {name}")[0][0]
            for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        }
        assert session.connection.in_transaction
    assert pragmas == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "busy_timeout": 10_000}
    books.close()


@pytest.mark.parametrize("setting", ["synchronous_commit"])
def test_postgresql_without_synced_commits_is_refused_unless_told(databases: Databases, setting: str) -> None:
    url = databases.fresh("postgresql")
    name = make_url(url).database
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f'ALTER DATABASE "{name}" SET {setting} = off')
    with pytest.raises(Unusable, match=setting):
        open_books(url)
    told = open_books(url, allow_unsafe=True)
    assert told.ready() == []
    told.close()


@pytest.mark.parametrize(
    "url",
    [
        "",
        "nonsense",
        "mysql://h/x",
        "sqlite://",
        "sqlite:///:memory:",
        "sqlite:////no/such/folder/x.sqlite",
        "postgresql://postgres@127.0.0.1:1/x?connect_timeout=1",
    ],
)
def test_a_database_that_cannot_be_used_is_named_at_the_door(url: str) -> None:
    with pytest.raises(Unusable):
        open_books(url)


def test_a_view_cannot_write(books: SqlBooks, organization: str) -> None:
    if not _pool(books).postgres:
        return  # SQLite's readers are kept from writing by what a view offers
    with pytest.raises(psycopg.errors.ReadOnlySqlTransaction), _pool(books).reading() as session:
        session.run("DELETE FROM claim WHERE organization = ?", organization)


def test_a_view_stays_as_it_was_while_others_write(books: SqlBooks, organization: str) -> None:
    record = new(version())
    with books.view(organization) as view:
        assert view.get("Observation", record.new.id) is None
        with books.begin(organization) as work:
            work.put([record])
        assert view.get("Observation", record.new.id) is None
    with books.view(organization) as view:
        assert view.get("Observation", record.new.id) == record.new


def test_a_writer_that_waits_too_long_is_told_to_come_back(database_url: Callable[[str], str]) -> None:
    url = database_url("sqlite")
    books = open_books(url)
    other = sqlite3.connect(make_url(url).database or "", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with _pool(books)._connection() as connection:
        connection.execute("PRAGMA busy_timeout=10")
    with pytest.raises(Busy) as refused, books.begin("x") as work:
        work.put([new(version())])
    assert refused.value.retry_after == 1
    assert retryable(refused.value)
    other.close()
    with books.begin("x") as work:
        work.put([new(version())])
    books.close()


def _cut_all_connections(url: str) -> None:
    cut = (
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'sonoledger' AND datname = %s"
    )
    with psycopg.connect(url, autocommit=True) as killer:
        killer.execute(cut, (make_url(url).database,))


def test_a_connection_that_broke_is_replaced(database_url: Callable[[str], str]) -> None:
    url = database_url("postgresql")
    books = open_books(url)
    _cut_all_connections(url)
    with pytest.raises(Busy), books.view("x") as view:
        view.get("Patient", "1")
    with books.view("x") as view:
        assert view.get("Patient", "1") is None
    books.close()


def test_a_broken_commit_is_an_unknown_outcome_that_is_not_repeated_blindly(database_url: Callable[[str], str]) -> None:
    url = database_url("postgresql")
    books = open_books(url)

    def write() -> None:
        with books.begin("x") as work:
            work.put([new(version())])
            _cut_all_connections(url)

    with pytest.raises(Busy) as refused:
        write()
    assert not retryable(refused.value)
    assert refused.value.faults == unknown_outcome().faults
    books.close()


FILL = """
import resource, sys
from service.basics.errors import Full
from service.store import open_books
from tests.builders.records import new, version
books = open_books(sys.argv[1])
resource.setrlimit(resource.RLIMIT_FSIZE, (2_000_000, 2_000_000))
kept = []
try:
    for _ in range(1000):
        record = new(version(text="x" * 20_000))
        with books.begin("x") as work:
            work.put([record])
            work.claim("Observation", "identifier=urn:a|" + record.new.id, record.new.id)
        kept.append(record.new.id)
except Full as refusal:
    assert "disk" not in str(refusal), refusal
    with books.view("x") as view:
        assert all(view.get("Observation", id_) for id_ in kept)
    print("FULL", *kept)
"""


def test_full_storage_refuses_keeps_what_was_promised_and_recovers(
    database_url: Callable[[str], str], tmp_path: Path
) -> None:
    url = database_url("sqlite")
    script = tmp_path / "fill.py"
    script.write_text(FILL)
    done = subprocess.run([sys.executable, str(script), url], capture_output=True, text=True, check=True, timeout=60)
    full, *kept = done.stdout.split()
    assert full == "FULL"
    assert len(kept) > 10
    books = open_books(url)
    with books.view("x") as view:
        assert {v.id for v in view.history("Observation", count=1000).matches} == set(kept)
    with _pool(books).reading() as session:
        assert session.rows("PRAGMA integrity_check") == [("ok",)]
        assert session.rows("SELECT count(*) FROM claim") == [(len(kept),)]
    with books.begin("x") as work:
        work.put([new(version())])
    books.close()


@pytest.mark.parametrize(
    ("state", "expected"),
    [
        ("23505", Conflict),
        ("40001", Busy),
        ("40P01", Busy),
        ("55P03", Busy),
        ("57014", Busy),
        ("08006", Busy),
        ("57P01", Busy),
        ("53300", Busy),
        ("53100", Full),
        ("58030", Full),
        ("42601", type(None)),
        ("23502", type(None)),
    ],
)
def test_postgresql_states_and_their_refusals(state: str, expected: type[Refusal] | type[None]) -> None:
    # https://www.postgresql.org/docs/current/errcodes-appendix.html
    assert type(refusal_of(psycopg.errors.lookup(state)("words of the inside"))) is expected


def test_what_is_ready_and_what_is_not(databases: Databases, engine: str) -> None:
    books = open_books(databases.empty(engine))
    assert "run migrate" in books.ready()[0]
    books.close()
    ready = open_books(databases.fresh(engine))
    assert ready.ready() == []
    with _pool(ready).writing() as session:
        session.run("UPDATE alembic_version SET version_num = '0000'")
    assert "run migrate" in ready.ready()[0]
    assert ready.reads_inline == (engine == "sqlite")
    ready.close()
