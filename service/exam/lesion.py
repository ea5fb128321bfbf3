"""The record of one focal lesion: what its parts are called, what it lacks, and what it says in words."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Protocol

from service.basics.coding import Coding
from service.exam.evidence import Part, Sighting
from service.exam.follow_up import PARTS
from service.exam.rules import Attribute

PLACE = "place"
VOCABULARY = "focal_lesion"
ORDER = ("kind", "echogenicity", "edge", "vascularity", "artefact")  # in which a record is told
MEASURES: Mapping[str, str] = {  # what a sender calls a diameter -> the diameter of a lesion
    "measure:length": "lesion-length",
    "measure:width": "lesion-width",
    "measure:height": "lesion-height",
    "measure:thickness": "lesion-height",
}


class Words(Protocol):
    """What senders' codes mean, and the vocabulary of lesions; service.catalogue's Catalogue honours it."""

    @property
    def properties(self) -> Mapping[tuple[str, str], tuple[str, ...]]: ...
    @property
    def words(self) -> Mapping[tuple[str, str], tuple[str, str, str]]: ...
    @property
    def vocabularies(self) -> Mapping[str, tuple[Attribute, ...]]: ...


def part(codes: Iterable[Coding], rules: Words) -> str:
    """Which part of a record a component is ("place", "lesion-length", "kind"); "" when no row knows it."""
    for coding in codes:
        for row in rules.properties.get((coding.system, coding.code), ()):
            key = MEASURES.get(row) or row.partition(":")[2]
            if key in PARTS:
                return key
    return ""


def understood(parts: Iterable[Part], rules: Words) -> tuple[Part, ...]:
    """The parts with what each is about, and ours for a sender's words; a word that no row knows stays as it is."""
    keyed = ((one, part(one.codes, rules)) for one in parts)
    return tuple(replace(one, key=key, text=_word(one, key, rules)) for one, key in keyed)


def lacking(parts: Iterable[Part]) -> str:
    """What a record does not say, parted by blanks. parts: as understood."""
    given = {one.key for one in parts}
    return " ".join(p for p in PARTS if p not in given)


def told(record: Sighting) -> tuple[str, tuple[str, ...]]:
    """(place, what the record says of the lesion in words), its diameters aside. record: with parts as understood."""
    said = {one.key: one.text for one in record.parts}
    return said.get(PLACE, ""), tuple(said[key] for key in ORDER if key in said)


def _word(one: Part, key: str, rules: Words) -> str:
    known = [rules.words[k] for c in one.words if (k := (c.system, c.code)) in rules.words]
    values = {v.code: v.display for a in rules.vocabularies.get(VOCABULARY, ()) if a.key == key for v in a.values}
    ours = next((values[v] for vocabulary, a, v in known if (vocabulary, a) == (VOCABULARY, key) and v in values), "")
    return ours or one.text
