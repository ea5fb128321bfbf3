"""One entry on its way through a transaction: the identity it was given and what it replaces."""

from dataclasses import dataclass
from typing import Any

from service.basics.entries import Entry
from service.basics.stored import Stored

Json = dict[str, Any]


@dataclass(slots=True)
class Pending:
    """found: a conditional create that hit, or a read; before: the version an update replaces; neither: it is new."""

    entry: Entry
    id: str
    resource: Json | None
    before: Stored | None = None
    found: Stored | None = None

    @property
    def writes(self) -> bool:
        """Whether this entry leaves a new version."""
        return self.found is None and self.entry.method in {"POST", "PUT"}

    @property
    def reference(self) -> str:
        """The relative reference to what this entry stands for."""
        return f"{self.entry.type}/{self.found.id if self.found else self.id}"
