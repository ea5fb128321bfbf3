"""One focal lesion as its record says: where, how large, of which kind."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from service.basics.coding import Coding
from service.exam.follow_up import PARTS

PLACE = "lesion:place"
VOCABULARY = "focal_lesion"
MEASURES: Mapping[str, str] = {  # what a sender calls a diameter -> the diameter of a lesion
    "measure:length": "lesion-length",
    "measure:width": "lesion-width",
    "measure:height": "lesion-height",
    "measure:thickness": "lesion-height",
}


class Properties(Protocol):
    """What a sender says was measured or stated; service.catalogue's Catalogue honours it."""

    @property
    def properties(self) -> Mapping[tuple[str, str], tuple[str, ...]]: ...


@dataclass(frozen=True, slots=True)
class Lesion:
    """number: unique among the lesions of one animal, the same in all its exams.

    diameters: length, width and height as measured, with their unit; words: display by attribute (kind, edge ...)."""

    number: int
    structure: str
    place: str = ""
    diameters: tuple[tuple[str, str, str], ...] = ()  # (measure, value as sent, unit)
    words: tuple[tuple[str, str], ...] = ()  # (attribute, the value's display)
    note: str = ""
    source: str = ""
    at: str = ""


def part(codes: Iterable[Coding], rules: Properties) -> str:
    """Which part of a record a component is ("place", "lesion-length", "kind"); "" when no row knows it."""
    for coding in codes:
        for row in rules.properties.get((coding.system, coding.code), ()):
            key = MEASURES.get(row) or row.partition(":")[2]
            if key in PARTS:
                return key
    return ""


def lacking(parts: Iterable[Iterable[Coding]], rules: Properties) -> str:
    """The parts that a record does not say, parted by blanks."""
    given = {part(codes, rules) for codes in parts}
    return " ".join(p for p in PARTS if p not in given)
