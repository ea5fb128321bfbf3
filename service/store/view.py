"""One organisation's rows, turned into resources, exams and pages: the reading half of the store."""

from collections.abc import Iterable, Iterator
from itertools import groupby

from service.basics.agreement import Agreement
from service.basics.query import AuditQuery, Page, Query, Span
from service.basics.stored import Closed, Exam, Late, StepKey, Stored, Trace
from service.basics.subscription import PREFIX
from service.store import audit, history, periods, search
from service.store.agreements import OF, agreement
from service.store.instants import micros_of
from service.store.page import Look
from service.store.routes import ROUTES
from service.store.rows import COLUMNS, stored
from service.store.session import Row
from service.store.subscribed import Subscribed

_GET = f"SELECT {COLUMNS} FROM resource WHERE organization = ? AND type = ? AND id = ?"
_FORMER = f"SELECT {COLUMNS} FROM former WHERE organization = ? AND row = ? AND version = ?"
_EXAM = (
    "SELECT e.id, e.order_id, e.animal, e.procedure, e.service, e.catalogue, e.state, e.started, e.report, e.invoice,"
    " e.credit FROM exam e"
)
EXAM_BY_ID = f"{_EXAM} WHERE e.organization = ? AND e.id = ?"
_EXAM_BY_ORDER = f"{_EXAM} WHERE e.organization = ? AND e.order_id = ?"
_EXAM_BY_STEP = (
    f"{_EXAM} JOIN step s ON s.organization = e.organization AND s.exam = e.id WHERE s.organization = ? AND s.task = ?"
)

EVERY_LINE = AuditQuery()


class SqlView(Subscribed):
    """A consistent look at one organisation's resources."""

    _steady = True

    def get(self, type_: str, id_: str) -> Stored | None:
        """The current version, also of a deleted resource."""
        found = self._mine(_GET, type_, id_)
        return stored(found[0]) if found else None

    def get_many(self, keys: Iterable[tuple[str, str]]) -> dict[tuple[str, str], Stored]:
        """The current versions of those (type, id) that exist."""
        found: dict[tuple[str, str], Stored] = {}
        for type_, wanted in groupby(sorted(set(keys)), key=lambda key: key[0]):
            ids = [id_ for _, id_ in wanted]
            for start in range(0, len(ids), 500):  # well under what either engine takes as values of one statement
                part = ids[start : start + 500]
                places = ", ".join("?" * len(part))
                sql = f"SELECT {COLUMNS} FROM resource WHERE organization = ? AND type = ? AND id IN ({places})"
                found |= {(one.type, one.id): one for one in map(stored, self._mine(sql, type_, *part))}
        return found

    def version(self, type_: str, id_: str, version: int) -> Stored | None:
        """One version, current or former."""
        current = self._mine(
            f"SELECT {COLUMNS} FROM resource WHERE organization = ? AND type = ? AND id = ?", type_, id_
        )
        if not current or current[0][2] == version:
            return stored(current[0]) if current else None
        former = self._mine(_FORMER, current[0][7], version)
        return stored(former[0]) if former else None

    def history(
        self,
        type_: str = "",
        id_: str = "",
        *,
        since: str = "",
        at: Span = (None, None),
        count: int = 50,
        after: str = "",
    ) -> Page:
        """Versions, the newest first: of one resource, of a type, or of everything; `at`: only those current then."""
        return history.page(self._mine, type_=type_, id_=id_, since=since, at=at, count=count, after=after)

    def search(self, query: Query) -> Page:
        """One page of the resources that fit all criteria, the newest first unless asked otherwise."""
        return search.page(Look(self._mine, self._session.rows, self._session.postgres, self._steady), query)

    def exam(self, task: str) -> Exam | None:
        """The exam of an exam's Task."""
        return _exam(self._mine(EXAM_BY_ID, task))

    def exam_of_order(self, order: str) -> Exam | None:
        """The exam of a ServiceRequest."""
        return _exam(self._mine(_EXAM_BY_ORDER, order))

    def exam_of_step(self, task: str) -> Exam | None:
        """The exam that a step's Task is part of."""
        return _exam(self._mine(_EXAM_BY_STEP, task))

    def step_keys(self, exam: str) -> tuple[StepKey, ...]:
        """The steps of an exam in the order they were made."""
        sql = "SELECT exam, code, task, state FROM step WHERE organization = ? AND exam = ? ORDER BY task"
        return tuple(StepKey(*row) for row in self._mine(sql, exam))

    def steps(self, exam: str) -> tuple[Stored, ...]:
        """The step Tasks of an exam in the order they were made."""
        # not one join: without statistics PostgreSQL would read every Task there is to find these
        tasks = [row[0] for row in self._mine("SELECT task FROM step WHERE organization = ? AND exam = ?", exam)]
        found = self.get_many(("Task", task) for task in tasks)
        return tuple(one for _, one in sorted(found.items()) if not one.deleted)

    def receipt(self, key: str) -> tuple[str, bytes] | None:
        """(fingerprint, first answer) of a request that was answered before."""
        found = self._mine("SELECT fingerprint, answer FROM receipt WHERE organization = ? AND key = ?", key)
        return (found[0][0], found[0][1]) if found else None

    def routes(self) -> tuple[tuple[str, str], ...]:
        """(name, settings) of the destinations to promise to; subscribers are told by their own notifications alone."""
        return tuple((row[0], row[1]) for row in self._mine(ROUTES))

    def agreements(self) -> tuple[Agreement, ...]:
        """What the organisation has agreed on about referrals, as hospital or as clinic, by id."""
        return tuple(map(agreement, self._mine(OF)))

    def posted(self, thread: str) -> tuple[tuple[str, str], ...]:
        """(destination, event) already promised for an exam, in order."""
        sql = "SELECT destination, event FROM post WHERE organization = ? AND thread = ? ORDER BY row"
        return tuple((row[0], row[1]) for row in self._mine(sql, thread))

    def practice_text(self) -> str:
        """The organisation's own settings and billing profile as JSON text, or ""."""
        found = self._session.one("SELECT settings FROM organization WHERE slug = ?", self.organization)
        return found[0] if found else ""

    def overlay_text(self, kind: str = "catalogue") -> str:
        """The organisation's own rows over the catalogue (or the tariff), packed; "" when it has none."""
        sql = "SELECT files FROM overlay WHERE organization = ? AND kind = ? ORDER BY row DESC LIMIT 1"
        found = self._mine(sql, kind)
        return found[0][0] if found else ""

    def dated(self, key: int, *, low: int, high: int) -> Iterator[Stored]:
        """The resources whose mark of `key` begins in [low, high) microseconds, in order of time."""
        return periods.dated(self._mine, self._session.rows, key=key, low=low, high=high)

    def since(self, type_: str, us: int) -> Iterator[Stored]:
        """The resources of a type changed at an instant (microseconds) or later, the oldest first."""
        return periods.since(self._mine, type_, us)

    def closed_months(self) -> tuple[Closed, ...]:
        """The months whose books are closed, the earliest first."""
        return periods.closed(self._mine)

    def is_closed(self, month: str) -> bool:
        """Whether the books of a month such as 2026-11 are closed."""
        return periods.is_closed(self._mine, month)

    def late_posts(self, since: str, before: str) -> tuple[Late, ...]:
        """The posts that were given up since an instant, and those that wait, made from `since` to `before`."""
        when = micros_of(since)
        return periods.late(self._mine, self._record_systems(), since_us=when, since=since, before=before)

    def late_posts_of(self, thread: str, before: str) -> tuple[Late, ...]:
        """The posts of one thread that were given up, and those that have waited since before an instant."""
        return periods.late_of(self._mine, self._record_systems(), thread, before=before)

    def seen_until(self, series: str) -> int:
        """How far a series of looks has come, in microseconds; 0 when it has not begun."""
        found = self._mine("SELECT value FROM counter WHERE organization = ? AND series = ?", series)
        return int(found[0][0]) if found else 0

    def invoice_counters(self) -> dict[int, int]:
        """How many invoice numbers were given out, by year."""
        return periods.invoice_counters(self._mine)

    def _destinations(self) -> list[str]:
        return [row[0] for row in self._mine("SELECT name FROM destination WHERE organization = ? ORDER BY name")]

    def _record_systems(self) -> list[str]:
        return [name for name in self._destinations() if not name.startswith(PREFIX)]

    def unmapped(self) -> tuple[tuple[str, str, str, str, int], ...]:
        """Codes without a mapping: (what, system, code, display, times seen), the most frequent first."""
        sql = (
            "SELECT what, system, code, display, seen FROM unmapped WHERE organization = ?"
            " ORDER BY seen DESC, what, system, code"
        )
        return tuple((w, s, c, d, n) for w, s, c, d, n in self._mine(sql))

    def traces(
        self, wanted: AuditQuery = EVERY_LINE, *, count: int = 50, after: str = ""
    ) -> tuple[tuple[Trace, ...], str]:
        """Lines of the audit, the newest first, and the position of the next page ("" on the last)."""
        return audit.page(self._mine, wanted=wanted, count=count, after=after)


def _exam(rows: list[Row]) -> Exam | None:
    return Exam(*rows[0]) if rows else None
