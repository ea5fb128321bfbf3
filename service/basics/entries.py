"""One requested write or read inside a transaction, and its result."""

from dataclasses import dataclass
from typing import Any

from service.basics.errors import Refusal
from service.basics.stored import Stored


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry: method POST, PUT, PATCH, DELETE, GET or HEAD on a type, with id or criteria.

    place is "" for a single interaction, else "Bundle.entry[3]"; criteria is the text behind "?" of a conditional
    update, patch or delete, or of a search; if_none_exist that of a conditional create; if_match a version number;
    patch the operations of a PATCH; url the whole address of a read as it came; alone: it is of a batch."""

    method: str
    type: str
    id: str = ""
    criteria: str = ""
    resource: dict[str, Any] | None = None
    full_url: str = ""
    if_none_exist: str | None = None
    if_match: int | None = None
    if_none_match: str = ""
    if_modified_since: str = ""
    patch: tuple[dict[str, Any], ...] = ()
    url: str = ""
    place: str = ""
    alone: bool = False

    @property
    def reads(self) -> bool:
        """Whether it only looks."""
        return self.method in {"GET", "HEAD"}


@dataclass(frozen=True, slots=True)
class Result:
    """What became of an entry: its HTTP status (200 found or updated, 201 created, 204 deleted, 0 refused), the
    version, and for a read what was told (as the face words it) and which resources were seen."""

    status: int
    stored: Stored | None = None
    refusal: Refusal | None = None  # in a batch only
    told: object = None
    seen: tuple[str, ...] = ()
