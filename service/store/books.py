"""A database URL, turned into the books: views, units of work, and what an operator keeps."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import UTC, datetime

from sqlalchemy.exc import SQLAlchemyError

from service.basics.errors import Refusal
from service.basics.stored import Trace
from service.store import audit
from service.store.engine import Unusable, make_engine
from service.store.outbox import Outbox
from service.store.rebuild import Derivations, Rebuilt, rebuild
from service.store.session import Pool, Reading
from service.store.signing import Signing
from service.store.tables import REVISION
from service.store.view import SqlView
from service.store.work import SqlWork

Clock = Callable[[], datetime]


def _utc() -> datetime:
    return datetime.now(UTC)


class SqlBooks(Outbox, Signing):
    """The store. Threads may share it; it is opened once by a door and closed by it.

    clock: what time a unit of work takes place at, with its zone."""

    def __init__(self, pool: Pool, clock: Clock = _utc) -> None:
        super().__init__(pool)
        self._clock = clock
        self.reads_inline = not pool.postgres  # a read of a local file takes microseconds and needs no thread
        self.one_writer = not pool.postgres

    def view(self, organization: str) -> "Viewing":
        """A consistent look at one organisation's resources."""
        return Viewing(self._pool.reading(), organization)

    @contextmanager
    def begin(self, organization: str) -> Iterator[SqlWork]:
        """A unit of work: committed when the block ends, undone when it raises."""
        with self._pool.writing() as session:
            work = SqlWork(session, organization, now=self._clock(), clock=self._clock)
            yield work
            work.end()

    def together(self) -> AbstractContextManager[None]:
        """Let the units of work that this thread begins inside share one commit, where the engine gains by it."""
        return self._pool.together()

    def trace_reads(self, lines: Iterable[tuple[str, Trace]]) -> None:
        """Add the audit lines of reads, many at a time: (organisation, line)."""
        with self._pool.writing() as session:
            audit.write(session, lines)

    def catalogue_text(self, hash_: str) -> str | None:
        """The mapping files kept under a hash, or None."""
        with self._pool.reading() as session:
            found = session.one("SELECT text FROM catalogue WHERE hash = ?", hash_)
        return found[0] if found else None

    def rebuild(self, organization: str, derive: Derivations) -> Rebuilt:
        """Derive every projection of an organisation again from its resources."""
        return rebuild(self._pool, organization, derive=derive)

    def ready(self) -> list[str]:
        """What keeps the store from serving: nothing when it can."""
        try:
            with self._pool.reading() as session:
                found = session.rows("SELECT version_num FROM alembic_version")
        except Refusal:
            return ["the database cannot be reached"]
        except Exception as error:  # a missing table has a class of its own in each driver
            return [f"the database has no schema yet: run migrate ({type(error).__name__})"]
        if [row[0] for row in found] != [REVISION]:
            return [f"the database's schema is not {REVISION}: run migrate"]
        return []

    def close(self) -> None:
        """Give all connections back."""
        self._pool.close()


class Viewing:
    """One organisation's rows for the length of a block."""

    __slots__ = ("_organization", "_reading")

    def __init__(self, reading: Reading, organization: str) -> None:
        self._reading, self._organization = reading, organization

    def __enter__(self) -> SqlView:
        """The view; Busy when no connection can be had."""
        return SqlView(self._reading.__enter__(), self._organization)

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: object) -> None:
        """The connection goes back."""
        self._reading.__exit__(kind, error, trace)


def open_books(url: str, *, allow_unsafe: bool = False, clock: Clock = _utc) -> SqlBooks:
    """The books of a database whose settings keep what is committed; Unusable says what to change."""
    try:
        return SqlBooks(Pool(make_engine(url, allow_unsafe=allow_unsafe)), clock)
    except Refusal as refusal:
        raise Unusable("The database cannot be reached.") from refusal
    except SQLAlchemyError as error:
        raise Unusable("The database cannot be opened with this URL.") from error
