"""A post that a courier holds, and what became of it, as the outbox gives and takes them."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Leased:
    """A post that is the holder's until `until`; tries counts finished attempts since it was made or last replayed."""

    organization: str
    destination: str
    url: str
    authorization: str = field(repr=False)
    id: str
    key: str
    thread: str
    event: str
    form: str
    body: bytes = field(repr=False)
    tries: int
    token: str
    until: datetime
    settings: str = field(default="", repr=False)  # of the destination, JSON text or ""


class Held(Protocol):
    """What is needed to settle, extend or release a lease."""

    @property
    def organization(self) -> str: ...
    @property
    def destination(self) -> str: ...
    @property
    def event(self) -> str: ...
    @property
    def id(self) -> str: ...
    @property
    def token(self) -> str: ...


class Settlement(Protocol):
    """What became of one attempt: state is delivered, waiting (again at `due`) or dead."""

    @property
    def state(self) -> str: ...
    @property
    def started(self) -> datetime: ...
    @property
    def milliseconds(self) -> int: ...
    @property
    def status(self) -> int | None: ...
    @property
    def reason(self) -> str: ...
    @property
    def answer(self) -> str: ...
    @property
    def due(self) -> datetime | None: ...
    @property
    def disable(self) -> bool: ...
