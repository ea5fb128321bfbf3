"""One requested write or read inside a transaction, and its result."""

from dataclasses import dataclass
from typing import Any

from service.basics.errors import Refusal
from service.basics.stored import Stored


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry: method POST, PUT, DELETE or GET on a type, with id or criteria.

    place is "" for a single interaction, else "Bundle.entry[3]"; criteria is the text behind "?" of a conditional
    update or delete; if_none_exist that of a conditional create; if_match a version number."""

    method: str
    type: str
    id: str = ""
    criteria: str = ""
    resource: dict[str, Any] | None = None
    full_url: str = ""
    if_none_exist: str | None = None
    if_match: int | None = None
    if_none_match: str = ""
    place: str = ""


@dataclass(frozen=True, slots=True)
class Result:
    """What became of an entry: its HTTP status (200 found or updated, 201 created, 0 refused) and the version."""

    status: int
    stored: Stored | None = None
    refusal: Refusal | None = None  # in a batch only
