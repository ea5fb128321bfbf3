"""What is known of an animal at its exam that a limit may hang on."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.exam.animal import Animal
from service.exam.evidence import Evidence

FASTED = {
    "F": True,
    "NF": False,
    "fasted": True,
    "not-fasted": False,
    "not fasted": False,
}  # codes of HL7 v2-0916, ours
SEDATED = {"sedated": True, "not-sedated": False, "none": False, "not sedated": False}
FASTED_HOURS = Decimal(8)  # the gallbladder study's fast; fewer hours are not a fast
FILL = "finding:fill"
_HOURS = re.compile(r"fasted(?: for)? (\d+(?:\.\d+)?) ?(?:h|hours?)")


@dataclass(frozen=True, slots=True)
class Circumstances:
    """species is "" when unknown; None and "" mean not known, never a guess.

    weight_days: how old the weight was on the day of the exam; age in completed days and months on that day."""

    species: str
    sex: str = ""
    neutered: bool | None = None
    age_days: int | None = None
    weight_kg: Decimal | None = None
    weight_at: str = ""
    ideal_weight_kg: Decimal | None = None
    fasted: bool | None = None
    sedated: bool | None = None
    fill: str = ""  # of the urinary bladder: the value's code
    recumbency: str = ""
    age_months: int | None = None
    weight_days: int | None = None


def circumstances(animal: Animal, evidence: Iterable[Evidence], *, at: str) -> Circumstances:
    """What the animal's record and the exam's notes say together; the latest note counts. at: when it was scanned."""
    noted = {item: e for e in evidence for item in e.items if not e.sighting.retracted}
    weighed = _kilograms(noted.get("note:weight"))
    weight_at = noted["note:weight"].sighting.at if weighed is not None else animal.weight_at
    days, months = _age(animal.born, _day(at))
    return Circumstances(
        species=animal.species,
        sex=animal.sex,
        neutered=animal.neutered,
        age_days=days,
        weight_kg=animal.weight_kg if weighed is None else weighed,
        weight_at=weight_at,
        ideal_weight_kg=_kilograms(noted.get("note:ideal-weight")),
        fasted=_fasted(noted.get("note:fasting")),
        sedated=_sedated(noted.get("note:sedation")),
        fill=_fill(noted.get(FILL)),
        recumbency=_said(noted.get("note:recumbency")),
        age_months=months,
        weight_days=_between(_day(weight_at), _day(at)),
    )


def _kilograms(note: Evidence | None) -> Decimal | None:
    if note is None or note.sighting.quantity is None:
        return None
    factor = {"kg": Decimal(1), "g": Decimal("0.001")}.get(note.sighting.unit)
    return note.sighting.quantity * factor if factor is not None and note.sighting.quantity > 0 else None


def _fasted(note: Evidence | None) -> bool | None:
    if note is None:
        return None
    if note.sighting.quantity is not None:
        return note.sighting.quantity >= FASTED_HOURS if note.sighting.unit == "h" else None
    if note.sighting.answer is not None:
        return note.sighting.answer
    found = _HOURS.match(note.sighting.text.lower())
    return Decimal(found[1]) >= FASTED_HOURS if found else _known(note, FASTED)


def _sedated(note: Evidence | None) -> bool | None:
    """The note itself says that sedation was given, unless it says none."""
    if note is None:
        return None
    if note.sighting.answer is not None:
        return note.sighting.answer
    return _known(note, SEDATED) is not False


def _known(note: Evidence, words: dict[str, bool]) -> bool | None:
    said = [c.code for c in note.sighting.words] + [note.sighting.text.strip().lower()]
    return next((words[s] for s in said if s in words), None)


def _fill(found: Evidence | None) -> str:
    return found.value.rpartition(".")[2] if found is not None and found.structure == "urinary_bladder" else ""


def _said(note: Evidence | None) -> str:
    """A note's code, or its words as a code."""
    if note is None:
        return ""
    coded = next((c.code for c in note.sighting.words), "")
    return coded or "-".join(note.sighting.text.lower().split())


def _age(born: date | None, on: date | None) -> tuple[int | None, int | None]:
    days = _between(born, on)
    if born is None or on is None or days is None:
        return None, None
    months = (on.year - born.year) * 12 + on.month - born.month - (on.day < born.day)
    return days, months


def _between(first: date | None, last: date | None) -> int | None:
    return (last - first).days if first is not None and last is not None and last >= first else None


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text[:10])
    except ValueError:
        return None
