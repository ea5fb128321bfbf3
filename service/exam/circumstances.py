"""What is known of an animal at its exam that a limit may hang on."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation

from service.exam.animal import Animal
from service.exam.asking import answered
from service.exam.entries import live
from service.exam.evidence import Sighting
from service.exam.moments import instant
from service.exam.survey import Entry, Step

KILOGRAMS = {"kg": Decimal(1), "g": Decimal("0.001")}
FASTED = {"f": True, "nf": False, "fasted": True, "not-fasted": False}  # codes of HL7 table v2-0916, and our own
SEDATED = {"sedated": True, "not-sedated": False, "none": False}
FASTED_HOURS = Decimal(8)  # the fast of the gallbladder study; fewer hours are not one
BLADDER = "urinary_bladder"
YES, NO = "yes", "no"
_HOURS = re.compile(r"(?:fasted )?(?:for )?(\d+(?:\.\d+)?) ?(?:h|hours?)")


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


def noted(sighting: Sighting) -> str:
    """What a note says, as its entry keeps it: a quantity with its unit, yes or no, a code, or words."""
    if sighting.quantity is not None:
        return f"{sighting.quantity} {sighting.unit}".rstrip()
    if sighting.answer is not None:
        return YES if sighting.answer else NO
    return next((c.code for c in sighting.words), "") or sighting.text or sighting.operation


def circumstances(animal: Animal, steps: Iterable[Step], whole: Step, *, at: str) -> Circumstances:
    """What the animal's record and the exam's notes say together; of several notes the latest counts.

    animal: as its record has it; whole: what was entered for the exam as a whole; at: when it was scanned."""
    steps = tuple(steps)
    animal = answered(animal, steps)
    notes = _latest(e for e in live(whole) if e.item.startswith("note:"))
    weight = notes.get("note:weight")
    weighed = _kilograms(weight)
    weight_at = weight.at if weight is not None and weighed is not None else animal.weight_at
    days, months = _age(animal.born, _day(at))
    return Circumstances(
        species=animal.species,
        sex=animal.sex,
        neutered=animal.neutered,
        age_days=days,
        weight_kg=animal.weight_kg if weighed is None else weighed,
        weight_at=weight_at,
        ideal_weight_kg=_kilograms(notes.get("note:ideal-weight")),
        fasted=_fasted(notes.get("note:fasting")),
        sedated=_sedated(notes.get("note:sedation")),
        fill=_fill(steps),
        recumbency=_recumbency(notes.get("note:recumbency")),
        age_months=months,
        weight_days=_between(_day(weight_at), _day(at)),
    )


def _latest(entries: Iterable[Entry]) -> dict[str, Entry]:
    """The latest of each item, by the time of look; what has no time with a zone counts in its order."""
    found: dict[str, Entry] = {}
    for entry in entries:
        old = found.get(entry.item)
        before, after = instant(old.at) if old else None, instant(entry.at)
        if old is None or before is None or after is None or after >= before:
            found[entry.item] = entry
    return found


def _said(note: Entry | None) -> str:
    return note.value.strip().lower() if note is not None else ""


def _kilograms(note: Entry | None) -> Decimal | None:
    number, _, unit = _said(note).partition(" ")
    try:
        amount = Decimal(number)
    except InvalidOperation:
        return None
    if unit not in KILOGRAMS or not amount.is_finite() or amount <= 0:
        return None
    return amount if unit == "kg" else amount * KILOGRAMS[unit]


def _fasted(note: Entry | None) -> bool | None:
    said = _said(note)
    hours = _HOURS.match(said)
    if hours:
        return Decimal(hours[1]) >= FASTED_HOURS
    return {YES: True, NO: False, **FASTED}.get("-".join(said.split()))


def _sedated(note: Entry | None) -> bool | None:
    """The note itself says that sedation was given, unless it says none."""
    if note is None:
        return None
    return {YES: True, NO: False, **SEDATED}.get("-".join(_said(note).split()), True)


def _recumbency(note: Entry | None) -> str:
    return "-".join(word for word in _said(note).replace("-", " ").split() if word not in {"recumbency", "recumbent"})


def _fill(steps: Iterable[Step]) -> str:
    said = [e.value for s in steps if s.rule.structure == BLADDER for e in live(s) if e.item == "finding:fill"]
    return said[-1].rpartition(".")[2] if said else ""


def _age(born: date | None, on: date | None) -> tuple[int | None, int | None]:
    days = _between(born, on)
    if born is None or on is None or days is None:
        return None, None
    return days, (on.year - born.year) * 12 + on.month - born.month - (on.day < born.day)


def _between(first: date | None, last: date | None) -> int | None:
    return (last - first).days if first is not None and last is not None and last >= first else None


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text[:10])
    except ValueError:
        return None
