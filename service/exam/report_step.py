"""Turns the entries of one step into how it ended and what was recorded, as the report tells it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from service.exam import entries
from service.exam.evidence import Evidence
from service.exam.report_words import one_line
from service.exam.survey import Entry, Step


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a step ended: the code of the disposition that holds, settled-elsewhere, seen (by a look alone) or blank.

    entry is the one that says so; overruled the "not seen" or "absent" that a second look set aside."""

    kind: str
    entry: Entry | None = None
    overruled: Entry | None = None


Known = Mapping[str, tuple[Evidence, ...]]
Ended = tuple[tuple[Step, Outcome], ...]  # steps in scanning order, each with its end


def ended(steps: Iterable[Step]) -> Ended:
    """The steps that scan a structure, in scanning order, each with its end; questions to a person are left out."""
    scanned = sorted((s for s in steps if s.rule.station), key=lambda s: (s.rule.station, s.rule.sequence))
    return tuple((step, outcome(step)) for step in scanned)


def outcome(step: Step) -> Outcome:
    """How the step ended: by the disposition that holds, else by having been looked at, else blank."""
    holds = entries.disposition(step)
    live = entries.live(step)
    denied = [e for e in live if entries.kind(e) in entries.NOT_THERE and e is not holds]
    overruled = denied[-1] if denied else None
    if holds is not None:
        return Outcome(entries.kind(holds), holds, overruled)
    looked = any(entries.is_look(e) or entries.head(e) == "finding" for e in live)
    return Outcome("seen" if looked else "blank", None, overruled)


def recorded(step: Step, head: str) -> tuple[Entry, ...]:
    """The live entries of one kind ("measure", "finding", "plane"), in their order, each source once per item."""
    begins = f"{head}:"  # what was taken back begins otherwise
    found = [e for e in step.entries if e.item.startswith(begins) or e.item == head]
    kept: dict[tuple[str, str], Entry] = {}
    for entry in found:
        kept.setdefault((entry.item, entry.source or entry.at), entry)
    return tuple(kept.values())


def windows(*steps: Step) -> list[str]:
    """The windows named in the live entries, each once."""
    return list(dict.fromkeys(one_line(e.window) for s in steps for e in entries.live(s) if e.window))


def by_source(evidence: Iterable[Evidence]) -> Known:
    """Evidence found by the resource it rests on, which can hold several; what was retracted is left out."""
    found: dict[str, tuple[Evidence, ...]] = {}
    for one in evidence:
        if not one.sighting.retracted:
            found[one.sighting.source] = (*found.get(one.sighting.source, ()), one)
    return found


def resting(entry: Entry, known: Known) -> tuple[Evidence, ...]:
    """The evidence that an entry rests on: what its source says about the entry's item."""
    there = known.get(entry.source)
    return tuple([e for e in there if entry.item in e.items]) if there else ()
