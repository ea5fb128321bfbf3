"""What a transaction or an operation did into its line of the audit."""

from collections.abc import Iterable, Sequence

from service.actions.ports import Caller, Work
from service.basics.entries import Entry, Result
from service.basics.ids import new_id
from service.basics.stored import ENTITIES, Trace
from service.fhir import exact

_SINGLE = {"POST": ("create", "C"), "PUT": ("update", "U"), "PATCH": ("patch", "U"), "DELETE": ("delete", "D")}


def line(work: Work, caller: Caller, entries: Sequence[Entry], results: Sequence[Result]) -> Trace:
    """The line: of a single interaction by its name, else of a transaction with all that it touched or saw."""
    single = len(entries) == 1 and (entries[0].alone or not entries[0].place)
    interaction, action = _SINGLE.get(entries[0].method, ("transaction", "E")) if single else ("transaction", "E")
    first = results[0].stored if single and results else None
    touched = [f"{r.stored.type}/{r.stored.id}" for r in results if r.stored]
    seen = [name for r in results for name in r.seen]
    return Trace(
        id=new_id(),
        recorded=exact.instant(work.now),
        interaction=interaction,
        action=action,
        outcome="0",
        client=caller.label,
        request=caller.request,
        address=caller.address,
        type=first.type if first else "",
        id_of=first.id if first else "",
        entities=tuple(dict.fromkeys(touched + seen))[:ENTITIES],
    )


def operation(work: Work, caller: Caller, name: str, *, task: str, entities: Iterable[str]) -> Trace:
    """The line of an operation on a Task, with the references to what it touched."""
    return Trace(
        id=new_id(),
        recorded=exact.instant(work.now),
        interaction="operation",
        action="E",
        outcome="0",
        client=caller.label,
        request=caller.request,
        address=caller.address,
        type="Task",
        id_of=task,
        operation=name,
        entities=tuple(entities)[:ENTITIES],
    )


def changed(work: Work, caller: Caller, reference: str) -> Trace:
    """The line of an update of one resource (Type/id) that nobody asked for."""
    type_, _, id_ = reference.partition("/")
    return Trace(
        id=new_id(),
        recorded=exact.instant(work.now),
        interaction="update",
        action="U",
        outcome="0",
        client=caller.label,
        request=caller.request,
        address=caller.address,
        type=type_,
        id_of=id_,
        entities=(reference,),
    )
