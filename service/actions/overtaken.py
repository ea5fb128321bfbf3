"""A write that another request overtook -> the refusal that its entry's condition calls for, at the entry's place."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from service.actions.pending import Pending
from service.basics.errors import Conflict, Fault, Stale


@contextmanager
def answered(waiting: Sequence[Pending]) -> Iterator[None]:
    """Inside, an entry with If-Match that was overtaken is Stale; one without stays a Conflict, at its place.

    Where writers overlap, a condition that held when it was looked at may hold no longer when its turn comes."""
    try:
        yield
    except Conflict as lost:
        one = next((p for p in waiting if p.reference == lost.overtaken), None)
        if one is None:
            raise
        if one.entry.if_match is None:
            raise (lost.inside(one.where) if one.where else lost) from None
        text = f"{one.reference} is no longer at version {one.entry.if_match}: read it again."
        raise Stale(Fault("conflict", text, one.where)) from None
