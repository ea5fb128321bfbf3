"""An operation on the animal's record into what it asks of a step: one confirmation, or which of the two is right."""

from collections.abc import Iterator, Set
from dataclasses import replace

from service.exam.act import Act
from service.exam.entries import ON_RECORD, disposition, head, is_look, kind, live, tail
from service.exam.survey import Entry, Owed, Step

CONFIRM = "confirm:absent-surgical"
CONFLICT = "record-conflict"
SEEN = frozenset({"seen", "seen-part"})


def operation(step: Step) -> Entry | None:
    """The operation on record that would have taken the structure, the one entered last; None when there is none."""
    found = [e for e in live(step) if head(e) == ON_RECORD]
    return found[-1] if found else None


def seen(step: Step) -> bool:
    """Whether the structure was seen, by evidence or by a person's word."""
    return kind(disposition(step)) in SEEN or any(is_look(e) for e in live(step))


def waits(step: Step) -> bool:
    """Whether all that the step owes is the confirmation of the operation on record."""
    return operation(step) is not None and disposition(step) is None and not seen(step)


def contradicts(step: Step) -> bool:
    """Whether the structure was seen although an operation that takes it is on record, and nobody has said why."""
    excused = any(e.item == f"excused:{CONFLICT}" for e in live(step))
    return operation(step) is not None and seen(step) and not excused


def confirmed(step: Step, act: Act) -> Act:
    """The act with operation and basis from the record, where it confirms the absence and names none itself."""
    known = operation(step)
    if known is None or act.disposition != "absent-surgical":
        return act
    basis = f"the animal's record ({', '.join(filter(None, (known.source.partition('/')[0], known.value)))})"
    return replace(act, operation=act.operation or tail(known), detail=act.detail or basis)


def owed(step: Step, found: Set[str]) -> Iterator[Owed]:
    """The confirmation, or the conflict, with words. found: the live items of the step."""
    known = operation(step)
    if known is None:
        return
    told = f"{tail(known)}{f' ({known.value})' if known.value else ''}, {known.source}"
    if waits(step):
        text = f"On record: {told}. Confirm it (disposition absent-surgical), or look: what is seen counts"
        yield Owed(CONFIRM, text)
    elif contradicts(step):
        text = f"On record: {told}; yet the structure was seen. Correct the record or the evidence, or excuse this with"
        yield Owed(CONFLICT, f"{text} what explains it")
