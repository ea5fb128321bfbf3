"""What was sent into what it proves on which structure, through the rows that know the sender's codes."""

from collections.abc import Mapping
from typing import Protocol

from service.exam import body_site, records
from service.exam.asking import ANSWERS, NEUTERED, SEX, TESTES
from service.exam.body_site import NOTHING, Place, Sites
from service.exam.evidence import Evidence, Sighting, Unmapped
from service.exam.records import Records
from service.exam.rules import MeasureRule

Key = tuple[str, str]
Found = tuple[Evidence | Unmapped, ...]


class Codebook(Sites, Records, Protocol):
    """The sender mappings and the vocabularies they lead into; service.catalogue's Catalogue honours it."""

    @property
    def planes(self) -> Mapping[Key, str]: ...
    @property
    def measures(self) -> Mapping[tuple[str, str, str], MeasureRule]: ...


def match(sighting: Sighting, catalogue: Codebook, species: str) -> Found:
    """What the sighting proves, and what of it no row leads anywhere. Nothing is guessed, nothing dropped.

    A still, clip or study proves images and planes; an Observation its planes, measurement, finding or statement."""
    if sighting.kind == "operation":
        return records.operated(sighting, catalogue)
    notes = _notes(sighting, catalogue)
    if notes:
        return notes
    if sighting.kind == "procedure":  # it may be an operation that another order asked for
        return records.operated(sighting, catalogue) if sighting.answer else ()
    if sighting.kind == "study" and not sighting.site:
        return ()  # it proves that images of the exam exist, not of what
    site = body_site.place(sighting.site, catalogue)
    if site.problem:
        return (_unplaced(sighting, site),)
    planes, lost = _planes(sighting, catalogue)
    if sighting.kind in {"lesion", "lesion-part"}:
        return (*records.lesion_of(sighting, site.structure, catalogue, planes=planes), *lost)
    if sighting.kind != "observation":
        image = "clip" if sighting.kind == "clip" else "still"
        value = str(int(sighting.quantity)) if sighting.kind == "study" and sighting.quantity else ""
        value = value or ("1" if sighting.kind == "study" else "")
        return (Evidence(sighting, site.structure, (image, *planes), value), *lost)
    return (*_observed(sighting, site.structure, catalogue, species=species, planes=planes), *lost)


def _observed(
    sighting: Sighting, structure: str, catalogue: Codebook, *, species: str, planes: tuple[str, ...]
) -> Found:
    if sighting.disposition:
        return (Evidence(sighting, structure, (f"disposition:{sighting.disposition}", *planes)),)
    targets = _targets(sighting, structure, catalogue, species=species)
    if len(targets) != 1:
        first = sighting.codes[0] if sighting.codes else NOTHING
        unread = Unmapped(sighting, "code", first, (structure,))
        return (unread, *([Evidence(sighting, structure, planes)] if planes and not sighting.absent else []))
    item = targets.pop()
    if sighting.absent:
        return _absent(sighting, structure, item=item)
    if item.startswith("measure:"):
        rule = catalogue.measures.get((species, structure, item.partition(":")[2]))
        return _measured(sighting, structure, items=(item, *planes), value=records.reading(sighting, rule, catalogue))
    return _found(sighting, structure, catalogue, item=item, planes=planes)


def _absent(sighting: Sighting, structure: str, *, item: str) -> Found:
    """No value and why: with one of our reasons it excuses the measurement; a finding so missing stays owed."""
    if sighting.reason and item.startswith("measure:"):
        return (Evidence(sighting, structure, (f"excused:{item}",)),)
    return (Unmapped(sighting, "value", sighting.absent[0], (structure,), item),)


def _measured(sighting: Sighting, structure: str, *, items: tuple[str, ...], value: str) -> Found:
    if sighting.quantity is None:
        return (Unmapped(sighting, "value", NOTHING, (structure,), items[0]),)
    return (Evidence(sighting, structure, items, value),)


def _found(sighting: Sighting, structure: str, catalogue: Codebook, *, item: str, planes: tuple[str, ...]) -> Found:
    key = item.partition(":")[2]
    values = _values(sighting, structure, catalogue, attribute=key)
    if len(values) == 1:
        return (Evidence(sighting, structure, (f"finding:{key}", *planes), values.pop()),)
    first = sighting.words[0] if sighting.words else NOTHING
    unread = Unmapped(sighting, "value", first, (structure,), f"finding:{key}")
    return (unread, *([Evidence(sighting, structure, planes)] if planes else []))


def _values(sighting: Sighting, structure: str, catalogue: Codebook, *, attribute: str) -> set[str]:
    vocabulary = catalogue.structures[structure].vocabulary
    rows = [catalogue.words[k] for c in sighting.words if (k := (c.system, c.code)) in catalogue.words]
    return {value for v, a, value in rows if (v, a) == (vocabulary, attribute)}


def _targets(sighting: Sighting, structure: str, catalogue: Codebook, *, species: str) -> set[str]:
    """The one item that all known codings agree on ("measure:length"); several when they do not."""
    fitting = []
    for coding in sighting.codes:
        rows = catalogue.properties.get((coding.system, coding.code), ())
        kept = {r for r in rows if _applies(r, structure, catalogue, species=species)}
        if kept:
            fitting.append({f"finding:{r.partition(':')[2]}" if r.startswith("attribute:") else r for r in kept})
    if not fitting:
        return set()
    shared = set.intersection(*fitting)
    return shared or set.union(*fitting)


def _applies(row: str, structure: str, catalogue: Codebook, *, species: str) -> bool:
    head, _, key = row.partition(":")
    if head == "measure":
        return (species, structure, key) in catalogue.measures
    attributes = catalogue.vocabularies.get(catalogue.structures[structure].vocabulary, ())
    return head == "attribute" and any(a.key == key for a in attributes)


def _planes(sighting: Sighting, catalogue: Codebook) -> tuple[tuple[str, ...], tuple[Unmapped, ...]]:
    if not sighting.planes:
        return (), ()
    known = dict.fromkeys(p for c in sighting.planes if (p := catalogue.planes.get((c.system, c.code))))
    if len(known) == 1:
        return tuple(f"plane:{p}" for p in known), ()
    return (), (Unmapped(sighting, "plane", sighting.planes[0]),)


def _unplaced(sighting: Sighting, site: Place) -> Unmapped:
    return Unmapped(sighting, site.problem, site.coding, site.candidates)


def _notes(sighting: Sighting, catalogue: Codebook) -> Found:
    """What speaks of the exam as a whole (sedation, fasting, weight) or answers what was asked about the animal."""
    rows = {
        r for c in sighting.codes for r in catalogue.properties.get((c.system, c.code), ()) if r.startswith("note:")
    }
    return tuple(e for row in sorted(rows) for e in _note(sighting, row))


def _note(sighting: Sighting, row: str) -> Found:
    items = {"note:sex": (SEX, NEUTERED), "note:testes": (TESTES,)}.get(row, ())
    words = {c.code for c in sighting.words}
    if sighting.quantity is not None:
        words.add(str(sighting.quantity))
    answers = [(item, w) for item in items for w in sorted(words) if w in ANSWERS[item]]
    if len({item for item, _ in answers}) < len(answers):
        return (Unmapped(sighting, "value", sighting.words[0] if sighting.words else NOTHING),)
    if items and not answers:
        return (Unmapped(sighting, "value", sighting.words[0] if sighting.words else NOTHING),)
    return (Evidence(sighting, "", (row,)), *(Evidence(sighting, "", (item,), value) for item, value in answers))
