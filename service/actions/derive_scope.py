"""What changed on a sheet into the computations that it touches, and all that they need."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from service.actions.sheet import Sheet
from service.exam.asking import NEUTERED, SEX
from service.exam.derived import MADE, Derived
from service.exam.entries import live, newly_retracted
from service.exam.evidence import Evidence
from service.exam.formulas import AGE, WEIGHT, Computation
from service.exam.readings import Place
from service.exam.survey import Entry, Step

Json = dict[str, Any]
WEIGHED: Place = ("", "note:weight")
ANSWERED: Place = ("", "statement")


@dataclass(frozen=True, slots=True)
class Scope:
    """The computations to do again, in their order; means: places whose repeated readings are averaged again.

    places: all that must be read for it."""

    computations: tuple[Computation, ...] = ()
    means: frozenset[Place] = frozenset()
    places: frozenset[Place] = frozenset()

    def __bool__(self) -> bool:
        return bool(self.computations or self.means)

    @property
    def aged(self) -> bool:
        """Whether the animal's age goes in."""
        return any(one.animal == AGE for row in self.computations for one in row.inputs)

    def covers(self, found: Derived) -> bool:
        """Whether a result is one of these, not merely on the way to them."""
        row = found.computation
        return bool(found.readings == 0 or (row.structure, row.measure) in self.means)

    def covers_act(self, act: str) -> bool:
        """Whether an entry bears the key of a result that is computed again."""
        if not act.startswith(MADE):
            return False
        formula, structure, measure, _ = act.removeprefix(MADE).split(":", 3)
        rows = {(c.formula.key, c.structure, c.measure) for c in self.computations}
        return (formula, structure, measure) in rows or (formula == "MEAN" and (structure, measure) in self.means)


def changed(before: Sheet, after: Sheet, sent: Iterable[Json]) -> frozenset[Place]:
    """Where a reading came, went or may have another value: in what is sent, and in what was entered or taken back."""
    return frozenset([*_sent(after, sent), *_entered(before, after)])


def scope(sheet: Sheet, places: frozenset[Place]) -> Scope:
    """The computations that a change of these places touches, with those whose results they need."""
    rows = sheet.rules.computations.get(sheet.scope.animal.species, ())
    touched = set(places)
    chosen = []
    for row in rows:
        if touched & {*row.needs, *((row.structure, m) for m in row.checks), *_of_the_animal(row)}:
            chosen.append(row)
            touched.add((row.structure, row.measure))
    needed = {p for row in chosen for p in row.needs}
    for row in reversed(rows):
        if row not in chosen and (row.structure, row.measure) in needed:
            chosen.append(row)
            needed.update(row.needs)
    checks = {(row.structure, m) for row in chosen for m in row.checks}
    means = frozenset(p for p in touched if _doppler(sheet, p))
    ordered = tuple(row for row in rows if row in chosen)
    return Scope(ordered, means, frozenset(needed | checks | means))


def _of_the_animal(row: Computation) -> Iterator[Place]:
    if any(one.animal == WEIGHT for one in row.inputs):
        yield WEIGHED
    if row.sex or row.neutered is not None:
        yield ANSWERED


def _doppler(sheet: Sheet, place: Place) -> bool:
    rule = sheet.rules.measures.get((sheet.scope.animal.species, *place))
    return rule is not None and rule.doppler


def _sent(sheet: Sheet, sent: Iterable[Json]) -> Iterator[Place]:
    for resource in sent:
        if resource["resourceType"] == "Observation":
            found = sheet.understood(resource)
            yield from (p for one in found if isinstance(one, Evidence) for p in _of_evidence(sheet, one))


def _of_evidence(sheet: Sheet, one: Evidence) -> Iterator[Place]:
    for item in one.items:
        yield from _of_item(sheet, one.structure, item, value=one.value)


def _entered(before: Sheet, after: Sheet) -> Iterator[Place]:
    old = {s.rule.code: s for s in (*before.steps, *before.shelved)}
    for step in (*after.steps, *after.shelved):
        was = old.get(step.rule.code, Step(step.task, step.rule))
        if was is not step:
            yield from (p for e in _differing(was, step) for p in _of_entry(after, step, e))
    if before.whole is not after.whole:
        yield from (WEIGHED for e in _differing(before.whole, after.whole) if e.item == WEIGHED[1])


def _differing(before: Step, after: Step) -> Sequence[Entry]:
    known = {id(e) for e in before.entries}
    return [*(e for e in live(after) if id(e) not in known), *newly_retracted(before, after)]


def _of_entry(sheet: Sheet, step: Step, entry: Entry) -> Iterator[Place]:
    if not entry.act.startswith(MADE):
        yield from _of_item(sheet, step.rule.structure, entry.item, value=entry.value)


def _of_item(sheet: Sheet, structure: str, item: str, *, value: str) -> Iterator[Place]:
    head_, _, key = item.partition(":")
    if head_ == "measure":
        yield structure, key
    elif head_ == "finding":
        reads = sheet.rules.finding_readings.get((structure, key, value.rpartition(".")[2]))
        if reads is not None:
            yield structure, reads[0]
    elif item in {SEX, NEUTERED}:
        yield ANSWERED
    elif item == WEIGHED[1]:
        yield WEIGHED
