"""What the evidence of a case says of how the animal was prepared and examined."""

from collections.abc import Iterable, Mapping

from service.actions.case import Case
from service.exam.evidence import Evidence
from service.exam.report import Preparation
from service.exam.report_opening import UNSEDATED
from service.exam.report_words import amount


def preparation(case: Case, evidence: Iterable[Evidence], notes: Mapping[str, Evidence]) -> Preparation:
    """The preparation as noted; what nobody noted stays blank. notes: the latest of each kind ("note:fasting")."""
    doppler = _said_yes(notes.get("note:doppler")) or any(_doppler(case, one) for one in evidence)
    return Preparation(
        sedation=_words(notes.get("note:sedation"), yes="given", no="none"),
        doppler=doppler or None,
        fasting=_words(notes.get("note:fasting"), yes="fasted", no="not-fasted", blank=""),
        noted={item.removeprefix("note:"): _words(one) for item, one in notes.items()},
    )


def _said_yes(note: Evidence | None) -> bool:
    """Whether something was noted, and not that it was not so."""
    return note is not None and _words(note, no="none").lower() not in UNSEDATED


def _doppler(case: Case, evidence: Evidence) -> bool:
    species = case.order.animal.species
    keys = [i.partition(":")[2] for i in evidence.items if i.startswith("measure:")]
    rules = [case.catalogue.measures.get((species, evidence.structure, key)) for key in keys]
    return evidence.sighting.doppler or any(rule is not None and rule.doppler for rule in rules)


def _words(note: Evidence | None, *, yes: str = "yes", no: str = "no", blank: str | None = None) -> str:
    """What a note says: yes or no, its amount, or its words; one that says nothing more means yes (or `blank`)."""
    if note is None:
        return ""
    seen = note.sighting
    if seen.answer is not None:
        return yes if seen.answer else no
    if seen.quantity is not None:
        return amount(seen.quantity, seen.unit)
    said = seen.text or next((w.display or w.code for w in seen.words), "") or seen.operation
    return said or (yes if blank is None else blank)
