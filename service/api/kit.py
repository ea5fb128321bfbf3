"""What the doors hand in: everything the interactions need, as values and functions."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Protocol

from service.actions.looking import Look
from service.actions.ports import Books, Caller, House
from service.basics.access import Client, Grant
from service.basics.entries import Entry, Result
from service.basics.errors import Fault
from service.basics.query import Query
from service.basics.signing import SigningKey
from service.basics.stored import Trace
from service.fhir.search.asked import Terms

Json = dict[str, Any]
Exam = Callable[[House, Caller, str, Json], Json]  # an operation on a Task: (house, caller, task id, Parameters)


class Records(Books, Protocol):
    """The store as the api sees it: looks, readiness and the audit of reads."""

    @property
    def reads_inline(self) -> bool:
        """Whether a read takes microseconds, so that a thread would cost more than it saves."""

    @property
    def one_writer(self) -> bool:
        """Whether the engine takes one writer at a time, so that several writes gain by sharing a commit."""

    def together(self) -> AbstractContextManager[None]: ...
    def ready(self) -> Sequence[str]: ...
    def trace_reads(self, lines: list[tuple[str, Trace]]) -> None: ...
    def client(self, id_: str) -> Client | None: ...
    def exchange(self, jti: str, grant: Grant, *, used_until: datetime, until: datetime) -> bool: ...
    def token(self, hash_: str) -> "Token | None": ...
    def signing_keys(self, organization: str) -> Sequence[SigningKey]: ...
    def hook(self, organization: str, name: str) -> "Hook | None": ...
    def revoke_token(self, organization: str, hash_: str) -> bool: ...


class Keys(Protocol):
    """A token's bearer; access.keyring honours it."""

    def remembered(self, token: str) -> "Bearer | None": ...
    def bearer(self, token: str) -> "Bearer": ...


class Bearer(Protocol):
    """Who bears a token."""

    @property
    def organization(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def scopes(self) -> tuple[str, ...]: ...
    @property
    def label(self) -> str: ...
    @property
    def role(self) -> str: ...
    @property
    def party(self) -> str: ...
    @property
    def client(self) -> str: ...


class Hook(Protocol):
    """Who may send signed webhooks."""

    @property
    def secrets(self) -> tuple[str, ...]: ...
    @property
    def active(self) -> bool: ...


class Token(Bearer, Protocol):
    """A token as it is kept."""

    @property
    def until(self) -> str: ...


class Transact(Protocol):
    """Every write goes through this one action."""

    def __call__(
        self, house: House, caller: Caller, entries: Sequence[Entry], *, bundle_type: str, look: Look = ...
    ) -> Sequence[Result]: ...


class Parse(Protocol):
    """fhir/search: the parameters of a search as criteria for the store."""

    def __call__(
        self,
        organization: str,
        type_: str,
        params: Sequence[tuple[str, str]],
        *,
        strict: bool,
        base: str,
        terms: Terms | None = None,
    ) -> Query: ...


class Check(Protocol):
    """fhir/validate: everything wrong with a resource."""

    def __call__(self, resource: Json, *, type_: str | None = None) -> list[Fault]: ...


@dataclass(frozen=True, slots=True)
class Limits:
    """What one request may cost: bytes of a body, entries of a Bundle, resources on a page, seconds for a body."""

    body: int = 2 * 1024 * 1024
    bundle: int = 10 * 1024 * 1024
    entries: int = 500
    page: int = 500
    url: int = 16 * 1024
    seconds: float = 30.0


@dataclass(frozen=True, slots=True)
class Kit:
    """Everything the interactions need.

    operations: name -> action on a Task, such as "finish"; parameters: (name, kind, definition) of searches."""

    house: House
    books: Records
    keys: Keys
    transact: Transact
    entries: Callable[[Json], Sequence[Entry]]
    parse: Parse
    parameters: Callable[[str], Sequence[tuple[str, str, str]]]
    check: Check
    profile: Callable[[Json], list[Fault]]
    operations: Mapping[str, Exam]
    version: str = "0"
    limits: Limits = field(default_factory=Limits)
    writers: int = 8  # threads that write, where the engine takes more than one writer
    readers: int = 8  # threads that read, where reading on the event loop would hold others up
    gauges: Mapping[str, tuple[str, Callable[[], float]]] = field(default_factory=dict)
    docs: bool = True
    origins: tuple[str, ...] = ()  # whose pages in a browser may ask and read
