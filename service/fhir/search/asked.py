"""One parameter of a search as it was asked, and what is said when it cannot be understood."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from service.fhir.search.hashed import key
from service.fhir.search.table import Row

ID = re.compile(r"[A-Za-z0-9\-.]{1,64}")
TYPED = re.compile(r"[A-Z][A-Za-z]+/[A-Za-z0-9\-.]{1,64}")


class BadValue(Exception):
    """The value or modifier cannot be understood; the message says why."""


class Terms(Protocol):
    """The code systems and value sets that are known."""

    def members(self, value_set: str) -> Sequence[tuple[str, str]] | None:
        """(system, code) of each code, "" for all codes of the system; None for a value set that is not known."""

    def kin(self, system: str, code: str, *, above: bool) -> Sequence[str] | None:
        """The code and all above (else below) it; None for a system whose order is not known."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a search asks: organisation, type, our own base URL, and through how many resources it may still lead."""

    organization: str
    type: str
    base: str
    depth: int = 2
    terms: Terms | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """One parameter as asked: where, its row, the modifier, and the alternatives of its value."""

    place: Place
    row: Row
    modifier: str
    values: tuple[str, ...]

    @property
    def code(self) -> str:
        """The parameter under whose keys it is found."""
        return self.row.alias or self.row.code

    def key(self, value: str, *, suffix: str = "") -> int:
        """The key of a value of this parameter."""
        return key(self.place.organization, self.place.type, self.code + suffix, value)

    def only(self, *offered: str) -> None:
        """Refuse a modifier that is not among those offered."""
        if self.modifier and self.modifier not in offered:
            known = ", ".join(f":{name}" for name in (*offered, "missing"))
            raise BadValue(f"the modifier :{self.modifier} is not offered on {self.row.code} (offered: {known})")
