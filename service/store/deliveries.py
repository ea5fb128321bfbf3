"""The outbox as an operator sees it: what was promised, what happened, and the few things a person may change."""

from dataclasses import dataclass
from datetime import UTC, datetime

from service.basics.errors import Conflict, Fault, Missing
from service.store.instants import instant, micros, moment
from service.store.register import Register
from service.store.routes import OFF
from service.store.session import Row, Session

STATES = frozenset({"waiting", "delivered", "dead", "skipped"})

ATTEMPT = (
    "INSERT INTO attempt (organization, post, at, outcome, milliseconds, status, reason, answer, by)"
    " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_DELIVERY = (
    "SELECT organization, id, destination, key, thread, event, state, tries, made, due_us, lease_us, lease FROM post"
    " WHERE organization = ?"
)
_LATER_WENT_OUT = (
    "SELECT 1 FROM post e JOIN post p ON p.organization = e.organization AND p.destination = e.destination"
    " AND p.thread = e.thread AND e.row > p.row WHERE p.organization = ? AND p.id = ?"
    " AND (e.state = 'delivered' OR e.lease <> '') LIMIT 1"
)
_AGAIN = (
    "UPDATE post SET state = 'waiting', tries = 0, due_us = ?, lease = '', lease_us = 0"
    " WHERE organization = ? AND id = ?"
)


@dataclass(frozen=True, slots=True)
class Delivery:
    """One post without its body: where it stands."""

    organization: str
    id: str
    destination: str
    key: str
    thread: str
    event: str
    state: str
    tries: int
    made: str
    due: str  # of the next attempt while it is waiting
    leased_until: str  # "" when no courier has it


@dataclass(frozen=True, slots=True)
class AttemptRow:
    """One thing that happened to a post; outcome is delivered, waiting, dead, replayed or skipped, by whom."""

    at: str
    outcome: str
    milliseconds: int
    status: int | None
    reason: str
    answer: str
    by: str


class Deliveries(Register):
    """Reads the outbox, and replays or skips a post."""

    def deliveries(self, organization: str, *, state: str = "", limit: int = 50) -> tuple[Delivery, ...]:
        """The newest posts of an organisation, of one state when it is given."""
        where, params = (" AND state = ?", (state,)) if state else ("", ())
        with self._pool.reading() as session:
            rows = session.rows(f"{_DELIVERY}{where} ORDER BY row DESC LIMIT ?", organization, *params, limit)
        return tuple(map(_delivery, rows))

    def delivery(self, organization: str, id_: str) -> Delivery | None:
        """One post of an organisation."""
        with self._pool.reading() as session:
            row = session.one(f"{_DELIVERY} AND id = ?", organization, id_)
        return _delivery(row) if row else None

    def post_body(self, organization: str, id_: str) -> bytes | None:
        """The bytes that a post promises, never changed since."""
        with self._pool.reading() as session:
            row = session.one("SELECT body FROM post_body WHERE organization = ? AND id = ?", organization, id_)
        return row[0] if row else None

    def attempts(self, organization: str, id_: str) -> tuple[AttemptRow, ...]:
        """Everything that happened to a post, in order."""
        sql = (
            "SELECT at, outcome, milliseconds, status, reason, answer, by FROM attempt"
            " WHERE organization = ? AND post = ? ORDER BY row"
        )
        with self._pool.reading() as session:
            return tuple(AttemptRow(*row) for row in session.rows(sql, organization, id_))

    def backlog(self) -> tuple[tuple[str, str, str, int, str], ...]:
        """(organisation, destination, state, how many, the oldest's instant) of what is not delivered."""
        sql = (
            "SELECT organization, destination, state, count(*), min(made) FROM post WHERE state IN ('waiting', 'dead')"
            " GROUP BY organization, destination, state ORDER BY organization, destination, state"
        )
        with self._pool.reading() as session:
            return tuple((o, d, s, n, m) for o, d, s, n, m in session.rows(sql))

    def gone(self) -> int:
        """How many destinations are off because they said that they are gone for good; somebody has to look."""
        with self._pool.reading() as session:
            found = session.one(OFF)
        return int(found[0]) if found else 0

    def replay(self, organization: str, id_: str, *, by: str, now: datetime | None = None) -> None:
        """Send a post again from the start of its schedule; Missing, or Conflict when that would undo a later one."""
        when = now or datetime.now(UTC)
        with self._pool.writing() as session:
            state = _hold(session, organization, id_)
            if state == "waiting":
                raise Conflict(
                    Fault("conflict", "This post is still waiting for its turn; there is nothing to replay.")
                )
            if session.one(_LATER_WENT_OUT, organization, id_):
                text = "A later post of the same exam went out already; this one would put older content in its place."
                raise Conflict(Fault("conflict", text))
            session.run(_AGAIN, micros(when), organization, id_)
            session.run(ATTEMPT, organization, id_, instant(when), "replayed", 0, None, "", "", by)

    def replay_since(
        self, organization: str, since: str, *, by: str, states: tuple[str, ...], destination: str = ""
    ) -> tuple[list[str], list[str]]:
        """Send all posts made since an instant again, in their order: (the ids of these, of those left alone).

        states: dead, delivered or both. Left alone is one after which a later one of its exam, not among these, went
        out: it would put older content in its place."""
        when = datetime.now(UTC)
        where = f" AND made >= ? AND state IN ({', '.join('?' * len(states))})"
        here, params = (" AND destination = ?", (destination,)) if destination else ("", ())
        with self._pool.writing() as session:
            sql = f"SELECT id FROM post WHERE organization = ?{where}{here} ORDER BY row DESC{session.hold}"
            again, left = list[str](), list[str]()
            for (id_,) in session.rows(sql, organization, since, *states, *params):  # the newest of each exam first
                (left if session.one(_LATER_WENT_OUT, organization, id_) else again).append(id_)
                if again and again[-1] == id_:
                    session.run(_AGAIN, micros(when), organization, id_)
            again.reverse()
            session.many(
                ATTEMPT, ((organization, id_, instant(when), "replayed", 0, None, "", "", by) for id_ in again)
            )
        return again, left[::-1]

    def set_terms(self, organization: str, name: str, settings: str) -> bool:
        """Replace what a destination is sent and how; False when there is none."""
        sql = "UPDATE destination SET settings = ? WHERE organization = ? AND name = ?"
        with self._pool.writing() as session:
            return session.run(sql, settings, organization, name) == 1

    def skip(self, organization: str, id_: str, *, by: str, now: datetime | None = None) -> None:
        """Let the later posts of the exam pass a dead one; Missing, or Conflict when it is not dead."""
        when = now or datetime.now(UTC)
        with self._pool.writing() as session:
            if _hold(session, organization, id_) != "dead":
                raise Conflict(Fault("conflict", "Only a dead post can be skipped."))
            session.run("UPDATE post SET state = 'skipped' WHERE organization = ? AND id = ?", organization, id_)
            session.run(ATTEMPT, organization, id_, instant(when), "skipped", 0, None, "", "", by)


def _hold(session: Session, organization: str, id_: str) -> str:
    row = session.one(f"SELECT state FROM post WHERE organization = ? AND id = ?{session.hold}", organization, id_)
    if row is None:
        raise Missing(Fault("not-found", "There is no such post."))
    state: str = row[0]
    return state


def _delivery(row: Row) -> Delivery:
    organization, id_, destination, key, thread, event, state, tries, made, due_us, lease_us, lease = row
    due = instant(moment(due_us)) if state == "waiting" else ""
    leased = instant(moment(lease_us)) if lease else ""
    return Delivery(organization, id_, destination, key, thread, event, state, tries, made, due, leased)
