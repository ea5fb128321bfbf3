"""The entries of a step into what counts: what is live, which disposition holds, what was overtaken."""

from collections.abc import Iterable
from dataclasses import replace

from service.exam import moments
from service.exam.survey import Entry, Step

RETRACTED = "retracted:"
UNREAD = "unread:"
ON_RECORD = "on-record"  # head of an entry that names an operation on the animal's record: nobody looked
LEFT = "left-"  # key of an act that closed what was left undone: nobody looked
NOT_THERE = frozenset({"not-seen", "absent-surgical", "absent-unexplained"})  # dispositions that deny a sight
# Values that say "looked for, not there": they show nothing of the structure.
UNSEEN_VALUES = frozenset({"not-seen", "not-found", "not-visible", "not-assessed", "not-done", "not-tested"})


def live(step: Step) -> tuple[Entry, ...]:
    """The entries that were not taken back, in their order."""
    return tuple([e for e in step.entries if not e.item.startswith(RETRACTED)])  # twice as fast as by a generator


def items(step: Step) -> frozenset[str]:
    """The items of the live entries."""
    return frozenset(e.item for e in live(step))


def begun(step: Step) -> bool:
    """Whether anything that could be understood was entered."""
    return any(not e.item.startswith(UNREAD) and head(e) != ON_RECORD for e in live(step))


def head(entry: Entry) -> str:
    """The kind of an entry: "plane" of "plane:long"."""
    return entry.item.partition(":")[0]


def tail(entry: Entry) -> str:
    """What the entry is about: "long" of "plane:long"."""
    return entry.item.partition(":")[2]


def was_left(entry: Entry) -> bool:
    """Whether the entry says that nobody looked because the rest of the exam was left."""
    return entry.act.startswith(LEFT)


def proves_sight(entry: Entry) -> bool:
    """Whether the entry can only come from having seen the structure: a measure, a lesion, a finding that is one."""
    if head(entry) in {"measure", "lesion"}:
        return True
    return head(entry) == "finding" and entry.value not in UNSEEN_VALUES


def is_look(entry: Entry) -> bool:
    """Whether the entry comes from a look at the structure: an image, a plane, a measurement or a finding."""
    return head(entry) in {"plane", "still", "clip"} or proves_sight(entry)


def last_disposition(step: Step) -> Entry | None:
    """The disposition entered last, whether or not a second look has overtaken it."""
    found = [e for e in live(step) if head(e) in {"disposition", "settled-elsewhere"}]
    return found[-1] if found else None


def disposition(step: Step) -> Entry | None:
    """The disposition that holds; None when there is none or a second look has overtaken it (both entries stay)."""
    last = last_disposition(step)
    if last is None or head(last) == "settled-elsewhere" or tail(last) in {"seen", "seen-part"}:
        return last
    entries = live(step)
    place = max(i for i, e in enumerate(entries) if e is last)
    looks = ((i, e) for i, e in enumerate(entries) if is_look(e) and not (e.act and e.act == last.act))
    return None if any(_overtakes(e, last, later=i > place) for i, e in looks) else last


def kind(entry: Entry | None) -> str:
    """The code of a disposition: seen, not-seen ... settled-elsewhere; "" for none."""
    if entry is None:
        return ""
    return tail(entry) if head(entry) == "disposition" else head(entry)


def _overtakes(look: Entry, last: Entry, *, later: bool) -> bool:
    """A look overtakes what was stated before it came in, unless its own clock says that it was made before.

    What proves a sight overtakes "not there" whenever it was made: nothing is unseen and measured."""
    if proves_sight(look) and tail(last) in NOT_THERE:
        return True
    return later and moments.compare(look.at, last.at) != -1


def retracted(entry: Entry, *, at: str = "", by: str = "") -> Entry:
    """The entry as taken back: it stays on record and counts no more."""
    return replace(entry, item=f"{RETRACTED}{entry.item}", retracted_at=at, retracted_by=by)


def take_back(step: Step, gone: Iterable[Entry], *, at: str = "", by: str = "") -> Step:
    """The step with these entries taken back, each in its place."""
    ids = {id(e) for e in gone}
    if not ids:
        return step
    return replace(step, entries=tuple(retracted(e, at=at, by=by) if id(e) in ids else e for e in step.entries))


def newly_retracted(before: Step, after: Step) -> tuple[Entry, ...]:
    """The entries of `before` that `after` has taken back."""
    if after is before:
        return ()
    old = [e for e in before.entries if e.item.startswith(RETRACTED)]
    gone = [e for e in after.entries if e.item.startswith(RETRACTED)]
    for one in old:
        gone.remove(one)
    return tuple(replace(e, item=e.item.removeprefix(RETRACTED), retracted_at="", retracted_by="") for e in gone)
