"""What was measured now beside what was measured at earlier exams, into what changed and by how much."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Protocol

from service.exam.evidence import Evidence, Sighting
from service.exam.formulas import Computation, decimal, rounded
from service.exam.readings import Reading, latest
from service.exam.rules import MeasureRule, Structure

Key = tuple[str, str, str]  # structure, measure, and which: the side, the lesion by its number, the place in it
MEAN, LESION = "MEAN", "lesion-"


@dataclass(frozen=True, slots=True)
class Repeatability:
    """A change smaller than this may be the measuring alone. per_cent: of the earlier value, else in its own unit."""

    structure: str  # "" for all that have the measure
    measure: str
    within: Decimal
    per_cent: bool
    source: str
    unit: str = ""


class Rules(Protocol):
    """What comparing needs; service.catalogue's Catalogue honours it."""

    @property
    def measures(self) -> Mapping[tuple[str, str, str], MeasureRule]: ...
    @property
    def units(self) -> Mapping[tuple[str, str], Decimal]: ...
    @property
    def structures(self) -> Mapping[str, Structure]: ...
    @property
    def lateralities(self) -> Mapping[tuple[str, str], str]: ...
    @property
    def computations(self) -> Mapping[str, tuple[Computation, ...]]: ...
    @property
    def repeatability(self) -> Mapping[tuple[str, str, str], Repeatability]: ...


@dataclass(frozen=True, slots=True)
class Earlier:
    """One earlier exam of the animal that was finished: its Task, its report, when it began, what it saw."""

    exam: str
    report: str
    at: str
    evidence: tuple[Evidence, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """One measurement then and now, in the same unit with the digits of the finer one.

    per_cent has one decimal, None of a value that was nothing; within: whether the difference is smaller than the
    repeatability, None when no row gives one."""

    structure: str
    measure: str
    title: str
    unit: str
    before: Decimal
    now: Decimal
    earlier: Earlier
    which: str = ""
    within: bool | None = None
    repeatability: Repeatability | None = None

    @property
    def difference(self) -> Decimal:
        """New less old."""
        return self.now - self.before

    @property
    def per_cent(self) -> Decimal | None:
        """The difference in per cent of the old value."""
        if self.before == 0:
            return None
        return rounded(decimal(Fraction(self.difference) * 100 / abs(Fraction(self.before))), 1)


@dataclass(frozen=True, slots=True)
class _Standing:
    """The value that stands for a measurement at one exam, unrounded, in the measure's unit; how it was shown.

    factor: of the unit in which it was shown in the measure's own."""

    value: Fraction
    digits: int
    unit: str
    factor: Fraction


def trend(now: Iterable[Evidence], earlier: Sequence[Earlier], *, species: str, rules: Rules) -> tuple[Change, ...]:
    """Each measurement beside the latest earlier one of the same structure and side, in the order of those of now.

    earlier: the latest first. What was measured on one of several nodes that can't be told apart is left out."""
    standing = _standings(now, species=species, rules=rules)
    past = [(one, _standings(one.evidence, species=species, rules=rules)) for one in earlier]
    changes = (_change(key, found, past, species=species, rules=rules) for key, found in standing.items())
    return tuple(one for one in changes if one is not None)


def _change(
    key: Key, now: _Standing, past: Sequence[tuple[Earlier, dict[Key, _Standing]]], *, species: str, rules: Rules
) -> Change | None:
    found = next(((exam, values[key]) for exam, values in past if key in values), None)
    if found is None:
        return None
    exam, before = found
    rule = rules.measures[species, key[0], key[1]]
    row = rules.repeatability.get((species, key[0], key[1])) or rules.repeatability.get((species, "", key[1]))
    alike = now.unit == before.unit
    digits = max(one.digits if alike else _digits(one, rule) for one in (now, before))
    factor = now.factor if alike else Fraction(1)
    return Change(
        structure=key[0],
        measure=key[1],
        which=key[2],
        title=rule.title,
        unit=now.unit if alike else rule.unit,
        before=rounded(decimal(before.value / factor), digits),
        now=rounded(decimal(now.value / factor), digits),
        earlier=exam,
        within=_within(now.value, before.value, row) if row else None,
        repeatability=row,
    )


def _within(now: Fraction, before: Fraction, row: Repeatability) -> bool:
    allowed = Fraction(row.within) * (abs(before) / 100 if row.per_cent else 1)
    return abs(now - before) < allowed


def _standings(evidence: Iterable[Evidence], *, species: str, rules: Rules) -> dict[Key, _Standing]:
    """The mean of repeated readings, else what was computed, else the latest that was sent."""
    given: dict[Key, list[tuple[Evidence, Reading]]] = {}
    for one in evidence:
        for reading in _readings(one, species=species, rules=rules):
            given.setdefault((reading.structure, reading.measure, reading.side), []).append((one, reading))
    several = {row.structure for row in rules.computations.get(species, ()) if row.each == "node"}
    found: dict[Key, _Standing] = {}
    for key, many in given.items():
        made = [(e, r) for e, r in many if e.sighting.formula]
        kept = [(e, r) for e, r in made if e.sighting.formula == MEAN] or made or many
        if key[0] in several and len(kept) > 1:
            continue
        chosen = latest([r for _, r in kept])
        seen = next(e for e, r in kept if r is chosen).sighting
        found[key] = _standing(chosen, seen, rules.measures[species, key[0], key[1]], rules)
    return found


def _readings(one: Evidence, *, species: str, rules: Rules) -> Iterator[Reading]:
    seen = one.sighting
    if seen.quantity is None or seen.retracted:
        return
    for item in one.items:
        kind, _, measure = item.partition(":")
        rule = rules.measures.get((species, one.structure, measure))
        which = _which(one, measure, rules)
        if kind != "measure" or rule is None or which is None:
            continue
        factor = Decimal(1) if seen.unit == rule.unit else rules.units.get((rule.unit, seen.unit))
        if factor is not None:
            value = Fraction(seen.quantity if seen.unrounded is None else seen.unrounded) * Fraction(factor)
            yield Reading(one.structure, measure, value, seen.source, seen.at, which)


def _which(one: Evidence, measure: str, rules: Rules) -> str | None:
    """What tells it from others of its structure; None of what no later exam can know again, or is no measurement."""
    seen, structure = one.sighting, rules.structures.get(one.structure)
    if structure is None or measure.startswith("expected-"):
        return None
    if measure.startswith(LESION):
        return f"lesion {seen.which}" if seen.which not in {"", "0"} else None
    if seen.which:
        return None  # a fetus
    sides = () if structure.laterality else (rules.lateralities.get((c.system, c.code), "") for c in seen.site)
    side = next((s for s in sides if s in {"left", "right"}), "")
    return ", ".join(part for part in (side, seen.place.replace("-", " ")) if part)


def _standing(chosen: Reading, seen: Sighting, rule: MeasureRule, rules: Rules) -> _Standing:
    digits = max(0, -int(seen.quantity.as_tuple().exponent)) if seen.quantity is not None else rule.decimals
    factor = Decimal(1) if seen.unit == rule.unit else rules.units[rule.unit, seen.unit]
    return _Standing(chosen.value, digits, seen.unit, Fraction(factor))


def _digits(one: _Standing, rule: MeasureRule) -> int:
    """The digits after the point in the measure's own unit; of another unit those of the measure."""
    return one.digits if one.unit == rule.unit else rule.decimals
