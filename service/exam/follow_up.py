"""What was noted of a structure into what it asks for besides: measurements, records of lesions, a reading a fetus."""

from collections.abc import Iterator, Mapping, Sequence, Set

from service.exam.entries import head, live, tail
from service.exam.noted import values
from service.exam.rules import Attribute
from service.exam.survey import Owed, Step

LESION = "lesion"
COUNT = "focal-lesions"  # the attribute that says how many focal lesions there are
PER: Mapping[str, str] = {"fetal-heart-rate": "fetus-count"}  # a measurement taken once for each that was counted
PARTS = {
    "place": "the place",
    "lesion-length": "the length",
    "lesion-width": "the width",
    "lesion-height": "the height",
    "kind": "the kind",
    "edge": "the edge",
    "echogenicity": "the echogenicity",
    "vascularity": "the vascularity",
    "artefact": "the artefact",
}


def measures(step: Step, attributes: Sequence[Attribute]) -> tuple[str, ...]:
    """The measurements that findings ask for, beyond those of the step's rule; "a|b" where one of several does."""
    wanted = (m for _, value in values(step, attributes) for m in value.measures)
    return tuple(m for m in dict.fromkeys(wanted) if m not in step.rule.measures)


def lesions(step: Step, attributes: Sequence[Attribute]) -> int:
    """How many records of focal lesions the findings ask for at least."""
    return max((value.lesions for _, value in values(step, attributes)), default=0)


def recorded(step: Step) -> tuple[str, ...]:
    """The numbers of the lesions on record of this exam, in their order."""
    return tuple(dict.fromkeys(tail(e) for e in live(step) if head(e) == LESION))


def excusable(step: Step, attributes: Sequence[Attribute]) -> tuple[str, ...]:
    """The items among these that a reason can excuse."""
    asked = [f"measure:{m.partition('|')[0]}" for m in measures(step, attributes)]
    records = [f"{LESION}:{number}" for number in recorded(step)]
    return (*asked, *([LESION] if lesions(step, attributes) else []), *records)


def owed(step: Step, attributes: Sequence[Attribute], *, found: Set[str], titles: Mapping[str, str]) -> Iterator[Owed]:
    """What the findings ask for and nothing has answered or excused. found: the live items of the step."""
    for wanted in measures(step, attributes):
        keys = wanted.split("|")
        if not any(f"measure:{k}" in found or f"excused:measure:{k}" in found for k in keys):
            yield Owed(f"measure:{keys[0]}", f"Measurement, because of what was found: {_either(keys, titles)}")
    yield from _lesions(step, attributes, found)
    yield from _each(step, found, titles)


def _either(keys: Sequence[str], titles: Mapping[str, str]) -> str:
    words = [titles.get(f"measure:{k}") or k.replace("-", " ") for k in keys]
    return " or ".join(f"{w[:1].lower()}{w[1:]}" for w in words)


def _lesions(step: Step, attributes: Sequence[Attribute], found: Set[str]) -> Iterator[Owed]:
    missing = lesions(step, attributes) - len(recorded(step))
    if missing > 0 and f"excused:{LESION}" not in found:
        words = "A record of the focal lesion" if missing == 1 else f"{missing} more records of focal lesions"
        yield Owed(LESION, f"{words}: {', '.join(PARTS.values())}", missing)
    for number in recorded(step):
        gaps = _gaps(step, number)
        if gaps and f"excused:{LESION}:{number}" not in found:
            words = ", ".join(PARTS.get(g, g) for g in gaps)
            yield Owed(f"{LESION}:{number}", f"Lesion {number}: still without {words}")


def _gaps(step: Step, number: str) -> list[str]:
    """What no record of the lesion in this exam says; each entry names in its value what its record lacks."""
    told = [set(e.value.split()) for e in live(step) if e.item == f"{LESION}:{number}"]
    lacking = set.intersection(*told)
    return [part for part in PARTS if part in lacking]


def _each(step: Step, found: Set[str], titles: Mapping[str, str]) -> Iterator[Owed]:
    """One reading for each that was counted; readings that bear the same name are of the same one."""
    for measure, counted in PER.items():
        given = [e.value for e in live(step) if e.item == f"measure:{counted}" and e.value.isdecimal()]
        done = len({e.value or e.source for e in live(step) if e.item == f"measure:{measure}"})
        if not given or f"excused:measure:{measure}" in found or not 0 < done < int(given[-1]):
            continue
        words = titles.get(f"measure:{measure}") or measure.replace("-", " ")
        yield Owed(f"measure:{measure}", f"{words} of each: {done} of {given[-1]} so far", int(given[-1]) - done)
