"""What was entered for an urgent finding, or for telling somebody of it, into the state it is in."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import timedelta

from service.exam import moments
from service.exam.entries import RETRACTED, retracted
from service.exam.survey import Entry
from service.exam.urgent import Fact

FINDING_TASK, MESSAGE_TASK = "urgent-finding", "urgent-communication"  # what their Tasks are coded as
CONFIRMED, DECLINED = "decision:confirmed", "decision:declined"
ESCALATED, OVERDUE = "clock:escalated", "clock:overdue"
BECAUSE, MESSAGE, ATTEMPT, PASSED_ON = "because:", "message:task", "attempt:", "passed-on:to"
INCLUDED = "included:report"  # in which report it is told, by its version
ACKNOWLEDGED, STOPPED = "acknowledged:", "stopped:declined"
VOICE = frozenset({"voice", "in-person"})  # how somebody is spoken to
METHODS = {"voice": "By voice", "in-person": "In person", "message": "By message"}
FINDING_STATES = {
    "suggested": "Suggested by data: a person decides",
    "escalated": "Not decided or not received in time: try the next person",
    "overdue": "Overdue",
    "confirmed": "Confirmed by a person",
    "declined": "Declined by a person",
    "unsupported": "No longer supported by what is recorded",
    "evidence-withdrawn": "Confirmed, but what it rested on was taken back",
}
MESSAGE_STATES = {
    "waiting": "Nobody has been reached yet",
    "attempted": "Tried, not received yet",
    "escalated": FINDING_STATES["escalated"],
    "overdue": FINDING_STATES["overdue"],
    "acknowledged": "Received, and receipt confirmed",
    "stopped": "Stopped: the finding was declined",
}


def live(entries: Iterable[Entry], head: str = "") -> list[Entry]:
    """The entries that were not taken back, those whose item begins with head."""
    return [e for e in entries if not e.item.startswith(RETRACTED) and e.item.startswith(head)]


def decision(entries: Iterable[Entry]) -> Entry | None:
    """The decision that stands."""
    found = live(entries, "decision:")
    return found[-1] if found else None


def finding_state(entries: Sequence[Entry], *, waits: bool) -> tuple[str, str]:
    """(Task.status, state). waits: the report waits for the decision, so that it is owed (ready)."""
    said, supported = decision(entries), bool(live(entries, BECAUSE))
    if said is None:
        clock = _clock(entries)
        return (
            (("ready" if waits else "requested"), clock or "suggested") if supported else ("cancelled", "unsupported")
        )
    if said.item == DECLINED:
        return "rejected", "declined"
    lost = not supported and any(BECAUSE in e.item for e in entries)
    return "completed", "evidence-withdrawn" if lost else "confirmed"


def message_state(entries: Sequence[Entry]) -> tuple[str, str]:
    """(Task.status, state) of telling somebody."""
    if live(entries, ACKNOWLEDGED):
        return "completed", "acknowledged"
    if live(entries, STOPPED):
        return "cancelled", "stopped"
    tried = bool(live(entries, ATTEMPT))
    return ("in-progress" if tried else "requested"), _clock(entries) or ("attempted" if tried else "waiting")


def _clock(entries: Iterable[Entry]) -> str:
    passed = {e.item for e in live(entries, "clock:")}
    return "overdue" if OVERDUE in passed else "escalated" if ESCALATED in passed else ""


def renewed(entries: Sequence[Entry], facts: Iterable[Fact], *, at: str) -> tuple[tuple[Entry, ...], bool]:
    """(the entries resting on exactly these facts, whether it must be decided anew).

    What was declined is open again when it rests on anything that was not known at the time."""
    wanted = {(f.source, f.words): f for f in facts}
    held = {(e.source, e.value): e for e in live(entries, BECAUSE)}
    gone = {id(e) for key, e in held.items() if key not in wanted}
    come = [_because(f) for key, f in wanted.items() if key not in held]
    said = decision(entries)
    again = bool(come) and (not held or (said is not None and said.item == DECLINED))
    if again:
        gone |= {id(e) for e in live(entries, "clock:")}
        gone |= {id(e) for e in live(entries, DECLINED)}
    kept = tuple(retracted(e, at=at) if id(e) in gone else e for e in entries)
    return (*kept, *come), again


def _because(fact: Fact) -> Entry:
    about = ".".join(part for part in (fact.structure, fact.item.partition(":")[2]) if part)
    return Entry(f"{BECAUSE}{about}", fact.source, fact.at, fact.by, value=fact.words)


def ticked(entries: Sequence[Entry], *, escalates_at: str, due: str, now: str) -> tuple[Entry, ...]:
    """The entries with what the clock has passed by now; the same ones when it has passed nothing new."""
    added = [
        Entry(item, "", now, "", note=words)
        for item, when, words in (
            (ESCALATED, escalates_at, "Not decided or not received in time."),
            (OVERDUE, due, "The time by which it must be received has passed."),
        )
        if not live(entries, item) and when and moments.compare(now, when) in {0, 1}
    ]
    return (*entries, *added)


def deadline(identified: str, minutes: int) -> str:
    """The instant so many minutes later, in the form of the one given; "" when that is none."""
    begun = moments.instant(identified)
    if begun is None:
        return ""
    return (begun + timedelta(minutes=minutes)).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def decided(entries: Sequence[Entry], new: Entry) -> tuple[Entry, ...]:
    """The entries with a decision that takes the place of the one before, which stays on record."""
    return (*(replace(e, item=f"{RETRACTED}{e.item}", retracted_at=new.at, retracted_by=new.by)
              if e.item in {CONFIRMED, DECLINED} else e for e in entries), new)  # fmt: skip
