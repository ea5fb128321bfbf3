"""What comes in for a step, or is taken back, into the step as it stands after, and its state."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from service.exam import moments
from service.exam.entries import begun, disposition, head, kind, last_disposition, live, tail, take_back
from service.exam.follow_up import COUNT, LESION
from service.exam.owed import DEFERRED, owed
from service.exam.survey import Entry, Owed, Step

__all__ = ["note", "owed", "renew", "retract", "state"]


def state(step: Step, missing: Sequence[Owed]) -> tuple[str, str]:
    """(Task.status, business status). Status: ready, draft or completed. Business status: not-yet, partly, seen,
    seen-part, not-seen, absent-surgical, absent-unexplained, deferred, settled-elsewhere."""
    if not begun(step):
        return ("ready" if step.rule.owed_from_start else "draft"), "not-yet"
    said = kind(disposition(step))
    if said == DEFERRED:
        return "ready", said
    if missing:
        return "ready", "partly"
    return "completed", said or "seen"


def note(step: Step, entries: Iterable[Entry]) -> Step:
    """The step with the entries added; one that is there already (same source, act, item and value) changes nothing.

    A finding sent ends the default that stood in its place, and the excuse for its lack."""
    for entry in entries:
        if any(_same(entry, e) for e in live(step)):
            continue
        step = take_back(step, _displaced(step, entry), at=entry.at, by=entry.by)
        step = replace(step, entries=(*step.entries, entry))
    return step


def renew(step: Step, source: str, entries: Sequence[Entry], *, at: str = "", by: str = "") -> Step:
    """The step with exactly these entries resting on a source: what it no longer says is taken back."""
    if not entries:
        return retract(step, source, at=at, by=by)
    sent = [e for e in live(step) if e.source == source and not e.act]
    stale = [e for e in sent if not any(_same(e, n) for n in entries)]
    return note(take_back(step, stale, at=at, by=by), entries)


def retract(step: Step, source: str, *, at: str = "", by: str = "") -> Step:
    """The step without what rests on a source; with a disposition goes all that its act entered."""
    resting = [e for e in live(step) if e.source == source]
    acts = {e.act for e in resting if e.act and head(e) == "disposition"}
    gone = [e for e in live(step) if e.source == source or e.act in acts]
    return take_back(step, gone, at=at, by=by)


def settle_elsewhere(steps: Sequence[Step], done: Iterable[str], *, by: str = "") -> tuple[Step, ...]:
    """The steps after the second looks among them took effect: a deferred step that a completed one settles says so,
    and says so no more when that one is open again. done: codes of the steps that are completed and were seen."""
    codes = set(done)
    for settler in [s for s in steps if s.rule.settles]:
        seen = settler.rule.code in codes
        steps = [_settled_by(s, settler, seen=seen, by=by) if s.rule.code in settler.rule.settles else s for s in steps]
    return tuple(steps)


def _settled_by(step: Step, settler: Step, *, seen: bool, by: str) -> Step:
    item = f"settled-elsewhere:{settler.rule.code}"
    present = [e for e in live(step) if e.item == item]
    if not seen:
        return take_back(step, present, by=by)
    last = last_disposition(step)
    if kind(disposition(step)) != DEFERRED or last is None:
        return step
    looked = live(settler)[-1]
    if moments.compare(looked.at, last.at) == -1:
        return step
    station = settler.rule.station
    return note(step, [Entry(item, "", looked.at, looked.by, window=looked.window, station=station, act=looked.act)])


def _same(one: Entry, other: Entry) -> bool:
    if (one.item, one.source, one.value, one.reason) != (other.item, other.source, other.value, other.reason):
        return False
    return bool(one.source) or one.act == other.act


def _displaced(step: Step, entry: Entry) -> list[Entry]:
    """What a finding sent by a person or machine ends: the default of its attribute, or that it was not assessed."""
    if head(entry) not in {"finding", LESION} or entry.act:
        return []
    ended = f"finding:{COUNT}" if head(entry) == LESION else entry.item  # "none" gives way to a record
    default = [e for e in live(step) if e.item == ended and e.act]
    excuse = [e for e in live(step) if head(e) == "excused" and tail(e) == entry.item]
    return [*default, *excuse]
