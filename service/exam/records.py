"""Operations, lesions and counted or banded readings into what their entries must know."""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Protocol

from service.basics.coding import Coding
from service.exam import follow_up, lesion
from service.exam.entries import ON_RECORD
from service.exam.evidence import Evidence, Sighting, Unmapped
from service.exam.lesion import Words
from service.exam.rules import MeasureRule, Operation, Structure

Found = tuple[Evidence | Unmapped, ...]


class Records(Words, Protocol):
    """The rows about operations, words and units; service.catalogue's Catalogue honours it."""

    @property
    def operations(self) -> Mapping[tuple[str, str, str], Operation]: ...
    @property
    def structures(self) -> Mapping[str, Structure]: ...
    @property
    def lateralities(self) -> Mapping[tuple[str, str], str]: ...
    @property
    def units(self) -> Mapping[tuple[str, str], Decimal]: ...


def operated(sighting: Sighting, rules: Records) -> Found:
    """An operation on record, for each structure that it took; one that no row knows says nothing of the survey."""
    sides = {rules.lateralities[k] for c in sighting.site if (k := (c.system, c.code)) in rules.lateralities}
    wanted = [*sides, ""] if len(sides) == 1 else [""]
    keys = ((c.system, c.code, side) for c in sighting.codes for side in wanted)
    row = next((rules.operations[k] for k in keys if k in rules.operations), None)
    if row is None:
        return ()
    item = f"{ON_RECORD}:{row.key}"
    return tuple(Evidence(sighting, s, (item,), sighting.text) for s in row.structures)


def lesion_of(sighting: Sighting, structure: str, rules: Records, *, planes: tuple[str, ...]) -> Found:
    """The record of one lesion, naming what it lacks; a component of it that is a diameter."""
    if sighting.kind == "lesion":
        if sighting.which == "0":  # no structure was known when it came, so it was given no number
            return (Unmapped(sighting, "lesion", sighting.codes[0], (structure,)),)
        item = f"{follow_up.LESION}:{sighting.which}"
        parts = lesion.understood(sighting.parts, rules)
        return (Evidence(replace(sighting, parts=parts), structure, (item, *planes), lesion.lacking(parts)),)
    key = lesion.part(sighting.codes, rules)
    if not key.startswith("lesion-"):
        first = sighting.codes[0] if sighting.codes else Coding("", "")
        return (Unmapped(sighting, "code", first, (structure,)),)
    return (Evidence(sighting, structure, (f"measure:{key}",), sighting.which),)


def reading(sighting: Sighting, rule: MeasureRule | None, rules: Records) -> str:
    """What the entry of a measurement must know: a number counted, of which of several it is, or a value that words
    stand for, in the rule's unit; "" for every other."""
    if rule is None or sighting.quantity is None:
        return ""
    if rule.key in follow_up.PER.values():
        return str(sighting.quantity)
    if _banded(rule, rules):
        factor = Decimal(1) if sighting.unit == rule.unit else rules.units.get((rule.unit, sighting.unit))
        return f"{sighting.quantity * factor:f} {rule.unit}" if factor is not None else ""
    return sighting.which if rule.key in follow_up.PER else ""


def _banded(rule: MeasureRule, rules: Records) -> bool:
    """Whether words of the structure's vocabulary stand for bands of the measurement."""
    attributes = rules.vocabularies.get(rules.structures[rule.structure].vocabulary, ())
    return any(band.measure == rule.key for a in attributes for v in a.values for band in v.bands)
