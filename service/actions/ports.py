"""What actions need of the outside, as Protocols; the doors hand in what honours them."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

from service.actions.subscription_ports import Watched, Watching
from service.basics.agreement import Agreement
from service.basics.query import AuditQuery, Page, Query, Span
from service.basics.stored import Closed, Exam, Keys, Late, Post, Record, StepKey, Stored, Trace
from service.catalogue.catalogue import Catalogue


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks: the organisation of the token, its kind (practice, clinic, records), and the request's id.

    scopes: what is granted, the role's ceiling applied; asked: the token's own scopes, which operations go by;
    asker: "token:<fingerprint>" or "client:<id>", to be looked up again for what goes on after the request."""

    organization: str
    kind: str
    scopes: tuple[str, ...]
    label: str  # of the token; never the token
    request: str = ""
    role: str = ""
    asked: tuple[str, ...] = ()
    asker: str = ""
    agreement: str = ""  # under which the other side's courier hands something over
    address: str = ""  # where the request came from, for the audit alone


class View(Watched, Protocol):
    """A consistent look at one organisation's resources. Nothing of another organisation is ever visible."""

    organization: str

    def get(self, type_: str, id_: str) -> Stored | None: ...
    def get_many(self, keys: Iterable[tuple[str, str]]) -> dict[tuple[str, str], Stored]: ...
    def version(self, type_: str, id_: str, version: int) -> Stored | None: ...
    def history(
        self,
        type_: str = "",
        id_: str = "",
        *,
        since: str = "",
        at: Span = (None, None),
        count: int = 50,
        after: str = "",
    ) -> Page: ...
    def search(self, query: Query) -> Page: ...
    def exam(self, task: str) -> Exam | None: ...
    def exam_of_order(self, order: str) -> Exam | None: ...
    def step_keys(self, exam: str) -> tuple[StepKey, ...]: ...
    def exam_of_step(self, task: str) -> Exam | None: ...
    def steps(self, exam: str) -> tuple[Stored, ...]: ...
    def receipt(self, key: str) -> tuple[str, bytes] | None: ...
    def routes(self) -> tuple[tuple[str, str], ...]: ...  # (name, terms) of those to promise to
    def agreements(self) -> tuple[Agreement, ...]: ...  # about referrals, as hospital or as clinic
    def posted(
        self, thread: str
    ) -> tuple[tuple[str, str], ...]: ...  # (destination, event) already promised for an exam
    def practice_text(self) -> str: ...  # the organisation's own settings and billing profile as JSON text, or ""
    def overlay_text(self, kind: str = ...) -> str: ...  # own rows over the catalogue (or kind "tariff"), packed, or ""
    def dated(self, key: int, *, low: int, high: int) -> Iterator[Stored]: ...  # by a date's mark, in order
    def since(self, type_: str, us: int) -> Iterator[Stored]: ...  # what changed, deleted resources among it
    def closed_months(self) -> tuple[Closed, ...]: ...
    def is_closed(self, month: str) -> bool: ...
    def invoice_counters(self) -> Mapping[int, int]: ...  # how many invoice numbers were given out, by year
    def late_posts(self, since: str, before: str) -> tuple[Late, ...]: ...
    def late_posts_of(self, thread: str, before: str) -> tuple[Late, ...]: ...
    def seen_until(self, series: str) -> int: ...  # how far a series of looks has come, in microseconds
    def traces(self, wanted: AuditQuery, *, count: int, after: str) -> tuple[tuple[Trace, ...], str]: ...


class Work(View, Watching, Protocol):
    """One open transaction: all of it is committed together when the `with` ends, or nothing."""

    now: datetime

    def claim(self, type_: str, criteria: str, id_: str) -> str | None:
        """Take the unique row (organisation, type, criteria) for id_, waiting for whoever holds it.

        None when it was free and is now ours; else the id that has it (the row stays locked until the end)."""

    def move_claim(self, type_: str, criteria: str, id_: str) -> None: ...
    def drop_claims(self, type_: str, id_: str) -> None: ...
    def hold(self, type_: str, id_: str) -> None:
        """Let nobody change or delete a resource until the end of the transaction."""

    def lock_exam(self, task: str) -> Exam | None:
        """The exam row, held until the end of the transaction."""

    def put(self, records: Sequence[Record]) -> None:
        """Write versions in bulk; a version that is not the successor of the stored one raises Conflict."""

    def save_exam(self, exam: Exam) -> None: ...
    def save_steps(self, steps: Iterable[StepKey]) -> None: ...
    def save_receipt(self, key: str, fingerprint: str, answer: bytes) -> None: ...
    def moment(self) -> datetime: ...  # the time by now, which after a wait is later than `now`
    def next_invoice_number(self, year: int) -> int:
        """The next number of the organisation's series of that year; gap-free, for it falls with the transaction."""

    def hold_invoice_numbers(self, year: int) -> None: ...  # nobody draws one of the year until the end
    def close_month(self, month: str, *, by: str, totals: str) -> None: ...
    def lay_over(self, kind: str, *, by: str, files: str, difference: str) -> None: ...  # own rows, those before kept
    def see(self, series: str, until: int) -> None: ...  # how far a series of looks has come
    def post(self, posts: Iterable[Post]) -> None: ...
    def count_unmapped(self, seen: Iterable[tuple[str, str, str, str]]) -> None:
        """Count codes without a mapping: (what, system, code, display)."""

    def trace(self, line: Trace) -> None: ...
    def keep_catalogue(self, hash_: str, text: str) -> None: ...


class Books(Protocol):
    """The store: opens views and units of work."""

    def view(self, organization: str) -> AbstractContextManager[View]: ...
    def begin(self, organization: str) -> AbstractContextManager[Work]: ...


class Indexer(Protocol):
    """fhir/search: the keys of a resource."""

    def __call__(self, organization: str, resource: dict[str, object]) -> Keys: ...


class Catalogues(Protocol):
    """The catalogue in force and those that older exams were opened with."""

    current: Catalogue

    def of(self, hash_: str) -> Catalogue: ...
    def over(self, overlay: str, tariff: str = ...) -> Catalogue: ...  # in force, with own rows and prices over it


class Press(Protocol):
    """Data for a template into a PDF, the same bytes for the same data; None when it can't be made."""

    def __call__(self, data: Mapping[str, Any], *, template: str = ...) -> bytes | None: ...  # the report's without


def nowhere(address: str) -> list[str]:
    """Why an address that data names is not called: where nobody said which may be, none is."""
    return ["No address that data names is called by this service."]


def nobody(caller: Caller, type_: str) -> bool:
    """Whether a caller may be told of changes of a type: where nobody said who may, none is."""
    return False


@dataclass(frozen=True, slots=True)
class House:
    """What the doors join for the actions."""

    books: Books
    catalogues: Catalogues
    base: str = "http://127.0.0.1:8000/fhir"  # our own base URL, for Location and absolute self-references
    press: Press | None = None  # without one, reports have no PDF
    address_faults: Callable[[str], Sequence[str]] = nowhere  # what keeps an address that data names from being called
    may_watch: Callable[[Caller, str], bool] = nobody  # whether the caller may read and search a type without limits
