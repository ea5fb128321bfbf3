"""The sheet of an exam into the facts that urgent findings are suggested by."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from service.actions.ports import Work
from service.actions.sheet import Sheet
from service.actions.writing import decoded
from service.exam.entries import head, live
from service.exam.evidence import Evidence, Part
from service.exam.follow_up import LESION
from service.exam.survey import Entry
from service.exam.urgent import LESION_KIND, Fact

Json = dict[str, Any]
Pair = tuple[str, str]  # structure, item
Known = Mapping[str, Sequence[Evidence]]  # by source


def facts(work: Work, sheet: Sheet, wanted: frozenset[Pair], *, sent: Known) -> list[Fact]:
    """What is recorded of the wanted (structure, item) pairs; "" as structure for notes about the animal.

    sent: what is about to be written, understood; the rest is read from what is stored."""
    held = list(_held(sheet, wanted))
    missing = {e.source for _, e in held if head(e) != "finding"} - set(sent)
    known = {**sent, **_stored(work, sheet, missing)}
    return [fact for structure, entry in held for fact in _facts(sheet, structure, entry, known)]


def subject(item: str) -> str:
    """What a trigger calls an item: any record of a focal lesion is looked at for its kind."""
    return LESION_KIND if item.startswith(f"{LESION}:") else item


def _held(sheet: Sheet, wanted: frozenset[Pair]) -> Iterator[tuple[str, Entry]]:
    """The entries about the wanted pairs, each with its structure."""
    seen: set[tuple[str, str, str]] = set()
    for step in (*sheet.steps, sheet.whole):
        structure = step.rule.structure
        for entry in live(step):
            key = (structure, entry.item, entry.source)
            if (structure, subject(entry.item)) in wanted and key not in seen:
                seen.add(key)
                yield structure, entry


def _stored(work: Work, sheet: Sheet, sources: Iterable[str]) -> dict[str, list[Evidence]]:
    keys = [(s.partition("/")[0], s.partition("/")[2]) for s in sorted(sources) if s]
    found = work.get_many(keys).values() if keys else ()
    return {f"{s.type}/{s.id}": understood(sheet, decoded(s)) for s in found if not s.deleted}


def understood(sheet: Sheet, resource: Json) -> list[Evidence]:
    """What one resource says, by the mappings in force."""
    return [m for m in sheet.understood(resource) if isinstance(m, Evidence)]


def _facts(sheet: Sheet, structure: str, entry: Entry, known: Known) -> Iterator[Fact]:
    if head(entry) == "finding":
        value = entry.value.rpartition(".")[2]
        words = f"{_title(sheet, structure)}: {_value_words(sheet, structure, entry)}"
        yield Fact(structure, entry.item, entry.source, words, value, at=entry.at, by=entry.by)
        return
    for one in known.get(entry.source, ()):
        if entry.item in one.items and one.structure == structure:
            yield _measured(sheet, entry, one) if head(entry) != LESION else _lesion(sheet, entry, one)


def _measured(sheet: Sheet, entry: Entry, one: Evidence) -> Fact:
    seen, key = one.sighting, entry.item.partition(":")[2]
    said = next((c.code for c in seen.words), "") or seen.text.strip().lower()
    if not one.structure:
        return Fact("", entry.item, entry.source, f"{key.capitalize()}: {said}", said, at=entry.at, by=entry.by)
    rule = sheet.rules.measures.get((sheet.scope.animal.species, one.structure, key))
    title = rule.title if rule else key.replace("-", " ")
    words = (
        f"{_title(sheet, one.structure)}: {title[:1].lower()}{title[1:]} {seen.quantity} {_shown(seen.unit)}".rstrip()
    )
    return Fact(
        one.structure,
        entry.item,
        entry.source,
        words,
        quantity=seen.quantity,
        unit=seen.unit,
        at=entry.at,
        by=entry.by,
        which=seen.which,
    )


def _lesion(sheet: Sheet, entry: Entry, one: Evidence) -> Fact:
    """The kind that a record of a focal lesion says it is of."""
    part = next((p for p in one.sighting.parts if p.key == "kind"), Part(()))
    known = (sheet.rules.words.get((c.system, c.code), ("", "", ""))[2] for c in part.words)
    value = next(filter(None, known), "")
    words = f"{_title(sheet, one.structure)}: focal lesion {one.sighting.which}, {part.text[:1].lower()}{part.text[1:]}"
    return Fact(one.structure, LESION_KIND, entry.source, words, value, at=entry.at, by=entry.by)


def _shown(unit: str) -> str:
    """A unit as people read it: annotations in braces and the bare number are none."""
    return "" if unit == "1" or unit.startswith("{") else unit


def _title(sheet: Sheet, structure: str) -> str:
    row = sheet.rules.structures.get(structure)
    return row.title if row else structure.replace("_", " ")


def _value_words(sheet: Sheet, structure: str, entry: Entry) -> str:
    row = sheet.rules.structures.get(structure)
    key = entry.item.partition(":")[2]
    attributes = sheet.rules.vocabularies.get(row.vocabulary, ()) if row else ()
    values = (v for a in attributes if a.key == key for v in a.values)
    code = entry.value.rpartition(".")[2]
    found = next((v.display for v in values if v.code.rpartition(".")[2] == code), code)
    return found[:1].lower() + found[1:]
