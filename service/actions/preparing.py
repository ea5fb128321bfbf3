"""What the evidence of a case says of how the animal was prepared and examined."""

from collections.abc import Iterable, Mapping

from service.actions.case import Case
from service.exam.evidence import Evidence
from service.exam.report import Preparation
from service.exam.report_words import amount


def preparation(case: Case, evidence: Iterable[Evidence], notes: Mapping[str, Evidence]) -> Preparation:
    """The preparation as noted; what nobody noted stays blank. notes: the latest of each kind ("note:fasting")."""
    doppler = "note:doppler" in notes or any(_doppler(case, one) for one in evidence)
    return Preparation(
        sedation=_words(notes.get("note:sedation"), "given"),
        doppler=doppler or None,
        fasting=_words(notes.get("note:fasting"), ""),
        noted={item.removeprefix("note:"): _noted(one) for item, one in notes.items()},
    )


def _doppler(case: Case, evidence: Evidence) -> bool:
    species = case.order.animal.species
    keys = [i.partition(":")[2] for i in evidence.items if i.startswith("measure:")]
    rules = [case.catalogue.measures.get((species, evidence.structure, key)) for key in keys]
    return evidence.sighting.doppler or any(rule is not None and rule.doppler for rule in rules)


def _words(note: Evidence | None, otherwise: str) -> str:
    if note is None:
        return ""
    words = note.sighting.words
    return note.sighting.text or next((w.display or w.code for w in words), "") or otherwise


def _noted(note: Evidence) -> str:
    """What a note says: its words, its amount, or yes and no."""
    seen = note.sighting
    if seen.quantity is not None:
        return amount(seen.quantity, seen.unit)
    return _words(note, "no" if seen.answer is False else "yes")
