"""Finding a resource by reference while a transaction is open: among its own entries first, then in the store."""

from collections.abc import Sequence
from typing import Any

from service.actions.pending import Pending
from service.actions.ports import View
from service.actions.writing import decoded

Json = dict[str, Any]


class Lookup:
    """Relative references ("Patient/<id>") into resources, deleted and unknown ones into None."""

    def __init__(self, view: View, waiting: Sequence[Pending] = ()) -> None:
        self.view = view
        self.written = {p.reference: p.resource for p in waiting if p.writes and p.resource is not None}
        self.places = {p.reference: f"{p.entry.place}.resource" for p in waiting if p.writes and p.entry.place}

    def find(self, reference: str) -> Json | None:
        """The resource as it will stand when this transaction is done."""
        if reference in self.written:
            return self.written[reference]
        type_, _, id_ = reference.partition("/")
        stored = self.view.get(type_, id_) if id_ else None
        return decoded(stored) if stored and not stored.deleted else None

    def place(self, reference: str, *, otherwise: str) -> str:
        """Where a resource stands in this transaction's Bundle; otherwise, for one that it does not write."""
        return self.places.get(reference, "" if reference in self.written else otherwise)
