"""Turns the entries of one step into how it ended and what was recorded, by the rule that a later look prevails."""

from collections.abc import Mapping
from dataclasses import dataclass

from service.exam.evidence import Evidence
from service.exam.survey import Entry, Step

LOOKS = ("plane:", "measure:", "finding:", "still", "clip", "statement:")
UNSEEN = {"not-seen", "absent-surgical", "absent-unexplained", "deferred"}


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a step ended: seen, seen-part, not-seen, absent-surgical, absent-unexplained, deferred, elsewhere, blank.

    entry is the one that says so; overruled the earlier "not seen" that a second look set aside."""

    kind: str
    entry: Entry | None = None
    overruled: Entry | None = None


def outcome(step: Step) -> Outcome:
    """How the step ended; entries are read in their order, and a look after "not seen" prevails over it."""
    said = Outcome("blank")
    for entry in step.entries:
        said = _after(said, entry)
    return said


def _after(said: Outcome, entry: Entry) -> Outcome:
    head, _, rest = entry.item.partition(":")
    before = said.entry if said.kind in UNSEEN else said.overruled
    if head == "disposition":
        return Outcome(rest, entry, before if rest in {"seen", "seen-part"} else None)
    if head == "settled-elsewhere":
        return Outcome("elsewhere", entry, before)
    if entry.item.startswith(LOOKS) and _is_look(said, entry):
        return Outcome("seen", entry, before)
    return said


def _is_look(said: Outcome, entry: Entry) -> bool:
    """Whether the entry shows the structure; what a disposition itself wrote (same source or moment) does not."""
    if said.kind == "blank":
        return True
    own = said.entry
    return said.kind in UNSEEN and own is not None and not (entry.at == own.at and entry.by == own.by)


def looks(step: Step, head: str) -> tuple[Entry, ...]:
    """The entries of one kind ("measure", "finding", "plane"), in their order, each source once per item."""
    kept: dict[tuple[str, str], Entry] = {}
    for entry in step.entries:
        if entry.item.partition(":")[0] == head:
            kept.setdefault((entry.item, entry.source or entry.at), entry)
    return tuple(kept.values())


def by_source(evidence: tuple[Evidence, ...]) -> Mapping[str, Evidence]:
    """Evidence found by the resource it rests on; what was retracted is left out."""
    return {e.sighting.source: e for e in evidence if not e.sighting.retracted}
