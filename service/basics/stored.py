"""What crosses the wall between the store and everyone else: resources as text, with their keys."""

from dataclasses import field
from typing import NamedTuple

from service.basics.values import value

NO_DATE = -62_135_596_800_000_001
"""The date that marks of a resource without one of its own bear: before every other."""


class Mark(NamedTuple):
    """One search key of a resource: `key` hashes (organisation, type, parameter, value) to a signed 64-bit int.

    low and high are the stretch of a date (microseconds since the epoch) or of a number (fhir/search/amounts.py);
    then `key` hashes the parameter and at most a unit. Else low is the resource's own date, so that the newest come
    first, and high is the same or, for a token, the number of its code system."""

    key: int
    low: int
    high: int


class TextMark(NamedTuple):
    """One string key: folded text (lower case, no accents) for prefix search."""

    key: int
    text: str


@value
class Keys:
    """Search keys of one resource; `present` has a bit for each parameter that it has a value for.

    covers: the parameters that `present` speaks of (-1: all); of the others the stored bits stay as they are."""

    marks: frozenset[Mark]
    texts: frozenset[TextMark]
    present: int = 0
    covers: int = -1


@value
class Stored:
    """One version of one resource as it is kept: `body` is its JSON text, meta included; empty when deleted."""

    type: str
    id: str
    version: int
    updated: str  # instant, as in meta.lastUpdated
    body: bytes
    deleted: bool = False
    method: str = "POST"  # the write that made this version: POST, PUT, PATCH or DELETE
    row: int = field(default=0, compare=False, repr=False)  # where the store keeps it; 0 where that is not known


@value
class Record:
    """One version to be written. `before` holds the version it replaces and `old` its keys, None for a new resource.

    Both may leave out the same keys of elements that did not change."""

    new: Stored
    keys: Keys
    before: Stored | None = None
    old: Keys | None = None


@value
class Exam:
    """The exam row, a projection of the exam's Task and what belongs to it (ids without type)."""

    id: str  # of the exam's Task
    order: str
    animal: str
    procedure: str
    service: str  # key of mappings/services.csv
    catalogue: str  # hash of the catalogue it was opened with
    state: str  # accepted, in-progress, finished, cancelled, withdrawn
    started: str = ""  # earliest instant among its evidence; frozen at finish
    report: str = ""
    invoice: str = ""
    credit: str = ""


@value
class StepKey:
    """The step row: which Task is the step `code` of an exam."""

    exam: str
    code: str
    task: str
    state: str  # of the Task: ready, draft, completed, cancelled


@value
class Post:
    """One finished message for one destination. key is unique per destination and never changes; body never changes.

    thread orders posts (an exam's id): the next one of a thread waits until the one before is delivered."""

    id: str
    destination: str  # name
    key: str
    thread: str
    event: str  # finished, amended, withdrawn, cancelled
    body: bytes
    form: str = "transaction"  # what the body is: transaction, message, document or webhook


@value
class Late:
    """A post that its destination refused (dead, since then) or has not acknowledged (waiting, since it was made)."""

    id: str
    destination: str
    thread: str
    event: str
    state: str
    made: str
    since: str


@value
class Closed:
    """A month (such as 2026-11) whose books are closed: when, by whom, and what it came to as JSON text."""

    month: str
    closed: str
    by: str
    totals: str


LOGIN = "login"
"""The interaction of a line that tells of asking for a token."""

ENTITIES = 500
"""How many references a line of the audit holds: as many as the largest page or Bundle has."""


@value
class Trace:
    """One line of the audit: what was done by whom to what (BALP's content, without names or bodies)."""

    id: str
    recorded: str  # instant
    interaction: str  # restful-interaction code: create, update, read, vread, search-type, transaction, operation ...
    action: str  # C R U D E
    outcome: str  # 0, 4 (refused), 8
    client: str  # label of the token
    request: str  # X-Request-Id
    type: str = ""
    id_of: str = ""
    operation: str = ""
    entities: tuple[str, ...] = ()  # Type/id references, at most ENTITIES
    address: str = ""  # where the client connected from
