"""One entry on its way through a transaction: the identity it was given and what it replaces."""

from dataclasses import dataclass
from typing import Any

from service.basics.entries import Entry
from service.basics.stored import Stored

Json = dict[str, Any]


@dataclass(slots=True)
class Pending:
    """found: a conditional create that hit; before: the version that is replaced or deleted; neither: it is new."""

    entry: Entry
    id: str
    resource: Json | None
    before: Stored | None = None
    found: Stored | None = None

    @property
    def writes(self) -> bool:
        """Whether this entry leaves a new version with content."""
        return self.found is None and self.entry.method in {"POST", "PUT", "PATCH"}

    @property
    def deletes(self) -> bool:
        """Whether this entry leaves a deletion; what is not there needs none."""
        return self.entry.method == "DELETE" and self.before is not None

    @property
    def version(self) -> int:
        """The number of the version that will be current when the transaction is done."""
        if self.found is not None:
            return self.found.version
        return self.before.version + 1 if self.before else 1

    @property
    def reference(self) -> str:
        """The relative reference to what this entry stands for."""
        return f"{self.entry.type}/{self.found.id if self.found else self.id}"

    @property
    def identifiers(self) -> list[Json]:
        """The identifiers of what was sent; a Composition has one at most and not in a list."""
        given = (self.resource or {}).get("identifier") or []
        return given if isinstance(given, list) else [given]

    @property
    def where(self) -> str:
        """The place of what was asked, for faults."""
        return f"{self.entry.place}.request" if self.entry.place else ""

    @property
    def content(self) -> str:
        """The place of the resource, for faults."""
        return f"{self.entry.place}.resource" if self.entry.place else ""
