"""What goes back over HTTP, and stored versions as such answers."""

from dataclasses import dataclass, replace
from datetime import datetime
from email.utils import format_datetime
from functools import lru_cache
from typing import Any

from service.basics.stored import Stored
from service.fhir import exact

FHIR = b"application/fhir+json; charset=utf-8"
Header = tuple[bytes, bytes]


@dataclass(frozen=True, slots=True)
class Part:
    """An interaction within the request that has no line in the audit yet: R4's code, its status, its target."""

    code: str
    status: int
    type: str = ""
    id: str = ""
    seen: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """Status, body and headers. A body without a type of its own gets the FHIR type that the caller asked for.

    For the audit: seen are references (Type/id) of what the caller was shown, parts what has no line yet."""

    status: int
    body: bytes = b""
    headers: tuple[Header, ...] = ()
    media: bytes | None = None
    seen: tuple[str, ...] = ()
    parts: tuple[Part, ...] = ()

    def also(self, *headers: Header) -> "Answer":
        """The same answer with more headers."""
        return replace(self, headers=self.headers + headers)


def resource(value: dict[str, Any], *, status: int = 200, headers: tuple[Header, ...] = ()) -> Answer:
    """A resource made for this answer."""
    return Answer(status, exact.encode(value), headers)


def stored(version: Stored, *, status: int = 200) -> Answer:
    """A stored version: its own bytes, with ETag and Last-Modified."""
    return Answer(status, version.body, versioned(version), seen=(f"{version.type}/{version.id}",))


def versioned(version: Stored) -> tuple[Header, ...]:
    """ETag and Last-Modified of a stored version."""
    return (b"etag", etag(version.version).encode()), (b"last-modified", http_date(version.updated))


def etag(version: int) -> str:
    """The weak ETag of a version number, as R4 asks: W/"3"."""
    return f'W/"{version}"'


@lru_cache(maxsize=2048)
def http_date(instant: str) -> bytes:
    """A FHIR instant in UTC as HTTP writes dates; fractions of seconds are lost there."""
    return format_datetime(datetime.fromisoformat(instant), usegmt=True).encode()


def location(base: str, version: Stored) -> str:
    """The version's own address."""
    return f"{base}/{version.type}/{version.id}/_history/{version.version}"
