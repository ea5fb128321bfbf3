"""The entries of a sheet into the readings that computations need, with the resources they rest on."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from service.actions.derive_scope import WEIGHED, Scope
from service.actions.ports import Work
from service.actions.sheet import Sheet
from service.actions.writing import decoded
from service.basics.coding import Coding
from service.exam.animal import Animal
from service.exam.asking import answered
from service.exam.derived import MADE, Facts
from service.exam.entries import live
from service.exam.evidence import Evidence
from service.exam.readings import Place, Reading
from service.exam.survey import Entry
from service.fhir.reading.evidence import source

Json = dict[str, Any]
OUTSIDE = "outside:"


@dataclass(frozen=True, slots=True)
class Inputs:
    """readings in the order in which they came in; resources that they rest on by reference, sent those being written.

    sides: the coding of each side that one of several nodes was said to be on; checks: places that can be compared."""

    readings: tuple[Reading, ...]
    facts: Facts
    resources: Mapping[str, Json]
    sent: frozenset[str]
    sides: dict[str, Coding]
    checks: frozenset[Place]

    def compared(self, reading: Reading) -> bool:
        """Whether a reading is a result that was sent."""
        return reading.place in self.checks


def read_inputs(work: Work, sheet: Sheet, scope: Scope, *, sent: Sequence[Json]) -> Inputs:
    """All readings in scope, from what is being written, what the sheet has made, and else from the store."""
    entries = [*_entries(sheet, scope)]
    weighed = [e for e in live(sheet.whole) if e.item == WEIGHED[1]][-1:]
    given = {source(r): r for r in (*sent, *sheet.written) if r["resourceType"] == "Observation"}
    resources = _resources(work, [e.source for _, e in entries] + [e.source for e in weighed], given)
    found = {s: _understood(sheet, r) for s, r in resources.items()}
    readings = [r for structure, entry in entries for r in _readings(sheet, found, structure, entry, scope)]
    return Inputs(
        readings=tuple(dict.fromkeys(readings)),
        facts=_facts(work, sheet, scope, weighed=[e for w in weighed for e in found.get(w.source, [])]),
        resources=resources,
        sent=frozenset(source(r) for r in sent),
        sides={s: c for many in found.values() for e in many for s, c in _sides(sheet, e)},
        checks=frozenset((row.structure, m) for row in scope.computations for m in row.checks),
    )


def _entries(sheet: Sheet, scope: Scope) -> Iterator[tuple[str, Entry]]:
    """(structure, entry) of all that may be a reading in scope, what no step asked for among them."""
    structures = {structure for structure, _ in scope.places}
    for step in sheet.steps:
        if step.rule.structure in structures:
            yield from ((step.rule.structure, e) for e in live(step) if e.source and not e.act.startswith(MADE))
    for entry in live(sheet.whole):
        structure = entry.item.removeprefix(OUTSIDE)
        if entry.item.startswith(OUTSIDE) and structure in structures:
            yield structure, entry


def _resources(work: Work, sources: Iterable[str], given: Mapping[str, Json]) -> dict[str, Json]:
    wanted = dict.fromkeys(s for s in sources if s.startswith("Observation/"))
    missing = [("Observation", s.partition("/")[2]) for s in wanted if s not in given]
    stored = {f"Observation/{k[1]}": decoded(v) for k, v in work.get_many(missing).items() if not v.deleted}
    return {s: found for s in wanted if (found := given.get(s) or stored.get(s)) is not None}


def _understood(sheet: Sheet, resource: Json) -> list[Evidence]:
    return [one for one in sheet.understood(resource) if isinstance(one, Evidence)]


def _readings(
    sheet: Sheet, found: Mapping[str, list[Evidence]], structure: str, entry: Entry, scope: Scope
) -> Iterator[Reading]:
    for one in found.get(entry.source, ()):
        if one.structure != structure or (entry.item not in one.items and not entry.item.startswith(OUTSIDE)):
            continue
        for item in one.items:
            reading = _reading(sheet, one, item)
            if reading is not None and reading.place in scope.places:
                yield reading


def _reading(sheet: Sheet, one: Evidence, item: str) -> Reading | None:
    kind, _, key = item.partition(":")
    seen = one.sighting
    side = next((s for s, _ in _sides(sheet, one)), "")
    if kind == "finding":
        reads = sheet.rules.finding_readings.get((one.structure, key, one.value.rpartition(".")[2]))
        return Reading(one.structure, reads[0], Fraction(reads[1]), seen.source, seen.at) if reads else None
    rule = sheet.rules.measures.get((sheet.scope.animal.species, one.structure, key))
    if kind != "measure" or rule is None or seen.quantity is None or seen.formula:
        return None
    factor = 1 if seen.unit == rule.unit else sheet.rules.units.get((rule.unit, seen.unit))
    if factor is None:
        return None
    value = Fraction(seen.quantity) * Fraction(factor)
    return Reading(one.structure, key, value, seen.source, seen.at, side, seen.place, seen.part)


def _sides(sheet: Sheet, one: Evidence) -> Iterator[tuple[str, Coding]]:
    """The side that is said of a structure that has none of its own."""
    structure = sheet.rules.structures.get(one.structure)
    if structure is None or structure.laterality is not None:
        return
    for coding in one.sighting.site:
        side = sheet.rules.lateralities.get((coding.system, coding.code))
        if side in {"left", "right"}:
            yield side, coding


def _facts(work: Work, sheet: Sheet, scope: Scope, *, weighed: Sequence[Evidence]) -> Facts:
    animal = answered(sheet.scope.animal, sheet.steps)
    weight = [(e, w) for e in weighed if (w := _kilograms(sheet, e)) is not None and w > 0]
    return Facts(
        species=animal.species,
        sex=animal.sex,
        neutered=animal.neutered,
        weight=weight[-1][1] if weight else None,
        weighed=weight[-1][0].sighting.source if weight else "",
        age=_years(work, animal, sheet.exam.started or sheet.now) if scope.aged else None,
    )


def _kilograms(sheet: Sheet, one: Evidence) -> Fraction | None:
    factor = sheet.rules.units.get(("kg", one.sighting.unit))
    if factor is None or one.sighting.quantity is None:
        return None
    return Fraction(one.sighting.quantity) * Fraction(factor)


def _years(work: Work, animal: Animal, at: str) -> Fraction | None:
    """The animal's age in years, by completed months, when its whole day of birth is known."""
    stored = work.get("Patient", animal.id)
    text = str(decoded(stored).get("birthDate", "")) if stored and not stored.deleted else ""
    try:
        born, on = date.fromisoformat(text), date.fromisoformat(at[:10])
    except ValueError:
        return None
    months = (on.year - born.year) * 12 + on.month - born.month - (on.day < born.day)
    return Fraction(months, 12) if months >= 0 else None
