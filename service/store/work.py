"""One open transaction of one organisation: the writing half of the store."""

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime

from service.basics.errors import Conflict, Fault
from service.basics.stored import Exam, Post, Record, StepKey, Trace
from service.store import audit, bulk_postgresql, bulk_sqlite, claims
from service.store.acknowledging import Acknowledging
from service.store.changes import rounds
from service.store.instants import instant, micros
from service.store.register import LAY_OVER
from service.store.session import Session
from service.store.subscribing import Subscribing
from service.store.view import EXAM_BY_ID, SqlView

_EXAM_COLUMNS = "id, order_id, animal, procedure, service, catalogue, state, started, report, invoice, credit"
_HOLD = "SELECT row FROM resource WHERE organization = ? AND type = ? AND id = ?"
_SAVE_EXAM = (
    f"INSERT INTO exam (organization, {_EXAM_COLUMNS}) VALUES ({', '.join('?' * 12)})"
    " ON CONFLICT (organization, id) DO UPDATE SET "
    + ", ".join(f"{name} = excluded.{name}" for name in _EXAM_COLUMNS.split(", ")[1:])
)
_SAVE_STEP = (
    "INSERT INTO step (organization, exam, code, task, state) VALUES (?, ?, ?, ?, ?)"
    " ON CONFLICT (organization, task) DO UPDATE SET exam = excluded.exam, code = excluded.code, state = excluded.state"
)
_SAVE_RECEIPT = "INSERT INTO receipt (organization, key, fingerprint, recorded, answer) VALUES (?, ?, ?, ?, ?)"
_COUNT_ON = (
    "INSERT INTO counter (organization, series, value) VALUES (?, ?, 1)"
    " ON CONFLICT (organization, series) DO UPDATE SET value = counter.value + 1 RETURNING value"
)
_HOLD_COUNT = (
    "INSERT INTO counter (organization, series, value) VALUES (?, ?, 0)"
    " ON CONFLICT (organization, series) DO UPDATE SET value = counter.value"
)
_SEEN = (
    "INSERT INTO counter (organization, series, value) VALUES (?, ?, ?)"
    " ON CONFLICT (organization, series) DO UPDATE SET value = excluded.value"
)
_CLOSE = "INSERT INTO closed_month (organization, month, closed, by, totals) VALUES (?, ?, ?, ?, ?)"
_POST = (
    "INSERT INTO post (organization, id, destination, key, thread, event, form, state, tries, made, due_us, lease,"
    " lease_us) VALUES (?, ?, ?, ?, ?, ?, ?, 'waiting', 0, ?, ?, '', 0)"
)
_POST_BODY = "INSERT INTO post_body (organization, id, body) VALUES (?, ?, ?)"
_UNMAPPED = (
    "INSERT INTO unmapped (organization, what, system, code, display, seen, first, last)"
    " VALUES (?, ?, ?, ?, ?, 1, ?, ?)"
    " ON CONFLICT (organization, what, system, code) DO UPDATE SET seen = unmapped.seen + 1, last = excluded.last,"
    " display = excluded.display"
)
_KEEP_CATALOGUE = "INSERT INTO catalogue (hash, text) VALUES (?, ?) ON CONFLICT (hash) DO NOTHING"


class SqlWork(SqlView, Subscribing, Acknowledging):
    """Everything done through it is committed together, or nothing is."""

    def __init__(
        self, session: Session, organization: str, *, now: datetime, clock: Callable[[], datetime] | None = None
    ) -> None:
        super().__init__(session, organization, now=now)
        self._steady = not session.postgres
        self._clock = clock

    def moment(self) -> datetime:
        """The time by now, never before `now`: who had to wait for a lock is later than those he waited for."""
        return max(self.now, self._clock()) if self._clock is not None else self.now

    def claim(self, type_: str, criteria: str, id_: str) -> str | None:
        """None when the identity was free and is now id_'s; else the id that has it."""
        return claims.take(self._session, self.organization, type_=type_, criteria=criteria, id_=id_)

    def move_claim(self, type_: str, criteria: str, id_: str) -> None:
        """Give an identity to id_, whoever had it."""
        claims.move(self._session, self.organization, type_=type_, criteria=criteria, id_=id_)

    def drop_claims(self, type_: str, id_: str) -> None:
        """Free every identity that id_ has."""
        claims.drop(self._session, self.organization, type_=type_, id_=id_)

    def hold(self, type_: str, id_: str) -> None:
        """Let nobody change or delete a resource until the end of the transaction; others may hold it too."""
        self._mine(_HOLD + (" FOR SHARE" if self._session.postgres else ""), type_, id_)

    def lock_exam(self, task: str) -> Exam | None:
        """The exam row, held until the end of the transaction."""
        found = self._mine(EXAM_BY_ID + self._session.hold, task)
        return Exam(*found[0]) if found else None

    def put(self, records: Sequence[Record]) -> None:
        """Write versions in bulk; Conflict when one is not the successor of the stored one."""
        write = bulk_postgresql.write if self._session.postgres else bulk_sqlite.write
        for part in rounds(records):
            write(self._session, self.organization, part)

    def save_exam(self, exam: Exam) -> None:
        """Write the exam row; Conflict when its order has another exam."""
        e = exam
        opened = (e.id, e.order, e.animal, e.procedure, e.service, e.catalogue)
        self._session.run(_SAVE_EXAM, self.organization, *opened, e.state, e.started, e.report, e.invoice, e.credit)

    def save_steps(self, steps: Iterable[StepKey]) -> None:
        """Write step rows."""
        self._session.many(_SAVE_STEP, ((self.organization, s.exam, s.code, s.task, s.state) for s in steps))

    def save_receipt(self, key: str, fingerprint: str, answer: bytes) -> None:
        """Keep the first answer to a request; Conflict when there is one already."""
        self._session.run(_SAVE_RECEIPT, self.organization, key, fingerprint, instant(self.now), answer)

    def next_invoice_number(self, year: int) -> int:
        """The next number of the year, without gaps, for it falls with the transaction; later callers wait."""
        found = self._mine(_COUNT_ON, f"invoice {year}")
        return int(found[0][0])

    def hold_invoice_numbers(self, year: int) -> None:
        """Let nobody draw a number of the year until the end; whoever has drawn one is waited for."""
        self._session.run(_HOLD_COUNT, self.organization, f"invoice {year}")

    def close_month(self, month: str, *, by: str, totals: str) -> None:
        """Close the books of a month; Conflict when they are closed."""
        self._session.run(_CLOSE, self.organization, month, instant(self.now), by, totals)

    def lay_over(self, kind: str, *, by: str, files: str, difference: str) -> None:
        """Put rows of the organisation's own over its catalogue or tariff; those before stay on record."""
        self._session.run(LAY_OVER, self.organization, kind, instant(self.now), by, files, difference)

    def see(self, series: str, until: int) -> None:
        """Keep how far a series of looks has come."""
        self._session.run(_SEEN, self.organization, series, until)

    def post(self, posts: Iterable[Post]) -> None:
        """Promise finished messages; Conflict when a key was promised before."""
        made, due = instant(self.now), micros(self.now)
        promised = list(posts)
        lines = [
            (self.organization, p.id, p.destination, p.key, p.thread, p.event, p.form, made, due) for p in promised
        ]
        unknown = sorted({line[2] for line in lines} - set(self._destinations()))
        if unknown:
            raise Conflict(Fault("not-found", f"There is no destination named {', '.join(unknown)}."))
        self._session.many(_POST, lines)
        self._session.many(_POST_BODY, ((self.organization, p.id, p.body) for p in promised))

    def count_unmapped(self, seen: Iterable[tuple[str, str, str, str]]) -> None:
        """Count codes without a mapping: (what, system, code, display)."""
        now = instant(self.now)
        ordered = sorted(seen)  # two callers that count the same codes never wait for each other in a circle
        self._session.many(_UNMAPPED, ((self.organization, *code, now, now) for code in ordered))

    def trace(self, line: Trace) -> None:
        """Add a line to the audit."""
        audit.write(self._session, [(self.organization, line)])

    def keep_catalogue(self, hash_: str, text: str) -> None:
        """Keep the mapping files that exams are opened with, once."""
        self._session.run(_KEEP_CATALOGUE, hash_, text)
