"""What an exam found, and the animal's record, into what decides which structures are surveyed."""

from collections.abc import Iterable
from dataclasses import replace

from service.exam.animal import Animal
from service.exam.entries import ON_RECORD, live
from service.exam.survey import Entry, Step

TELLING = frozenset({"uterus", "uterine_stump"})  # structures whose findings say something of the animal
HEAT = "note:heat"
OVARIES = f"{ON_RECORD}:ovariectomy"  # it leaves the uterus
WOMB = frozenset({f"{ON_RECORD}:ovariohysterectomy", f"{ON_RECORD}:hysterectomy"})
YES = frozenset({"", "yes", "true", "present", "in-heat"})  # a note without a value states what it is about


def found_out(animal: Animal, steps: Iterable[Step], noted: Iterable[Entry]) -> Animal:
    """The animal with a gestation seen in the uterus, a uterus left by the operation, and signs of heat.

    noted: the live entries of the exam as a whole. Only what the animal's own data left open is filled."""
    found = [(s.rule.structure, e) for s in steps if s.rule.structure in TELLING for e in live(s)]
    whole = list(noted)
    return replace(
        animal,
        pregnant=_first(animal.pregnant, _says(found, "uterus", "lumen", "pregnant")),
        uterus=_first(animal.uterus, _says(found, "uterine_stump", "state", "uterus-present") or _kept(whole)),
        in_heat=_first(animal.in_heat, _heat(whole)),
    )


def _first(known: bool | None, found: bool) -> bool | None:
    return known if known is not None or not found else True


def _says(found: Iterable[tuple[str, Entry]], structure: str, attribute: str, value: str) -> bool:
    return any(s == structure and (e.item, e.value) == (f"finding:{attribute}", value) for s, e in found)


def _kept(whole: Iterable[Entry]) -> bool:
    """Whether the record says that the ovaries alone were taken."""
    operations = {e.item for e in whole}
    return OVARIES in operations and not operations & WOMB


def _heat(whole: Iterable[Entry]) -> bool:
    said = [e.value for e in whole if e.item == HEAT]
    return bool(said) and said[-1] in YES
