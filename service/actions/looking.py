"""A read inside a transaction, where nobody said how reads are answered: the current version by its id."""

from collections.abc import Callable

from service.actions.ports import View
from service.basics.entries import Entry, Result
from service.basics.errors import Fault, Gone, Missing

Look = Callable[[View, Entry], Result]


def by_id(view: View, entry: Entry) -> Result:
    """The current version of what the entry names; raises Missing or Gone."""
    current = view.get(entry.type, entry.id)
    if current is None:
        raise Missing(Fault("not-found", f"There is no {entry.type}/{entry.id}."))
    if current.deleted:
        raise Gone(Fault("deleted", f"{entry.type}/{entry.id} was deleted."))
    return Result(200, current)
