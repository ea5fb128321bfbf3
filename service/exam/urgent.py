"""Facts of one exam into the urgent findings that they suggest; a person decides each of them."""

import operator
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

LESION_KIND = "lesion:kind"  # the item of what kind the record of a focal lesion says it is of
SIGNS = {"<": operator.lt, "<=": operator.le, ">": operator.gt, ">=": operator.ge}
Units = Mapping[tuple[str, str], Decimal]


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing recorded: of a structure ("" for a note about the animal) a finding's value or a measurement.

    item: "finding:<attribute>", "measure:<key>" or "note:<key>"; words tell it to a person."""

    structure: str
    item: str
    source: str
    words: str
    value: str = ""
    quantity: Decimal | None = None
    unit: str = ""
    at: str = ""
    by: str = ""
    which: str = ""  # of several alike, such as fetuses


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition. sign: = or != with values, or < <= > >= with limit and unit; times: how many readings of one and
    the same thing it takes.

    != also holds when nothing was said: what is not known is not taken for good."""

    structures: frozenset[str]
    items: frozenset[str]
    sign: str
    values: frozenset[str] = frozenset()
    limit: Decimal = Decimal(0)
    unit: str = ""
    times: int = 1


@dataclass(frozen=True, slots=True)
class Trigger:
    """Conditions that must all hold, in animals of these species."""

    tests: tuple[Condition, ...]
    species: frozenset[str]


@dataclass(frozen=True, slots=True)
class UrgentRule:
    """One row of mappings/urgent-findings.csv; tier is 0 where only a person can say; without triggers a person raises
    it."""

    code: str
    title: str
    tier: int
    species: frozenset[str]
    triggers: tuple[Trigger, ...] = ()
    advice: str = ""


@dataclass(frozen=True, slots=True)
class Tier:
    """How soon somebody must know. escalate, breach: minutes after it was found; voice: only speaking will do;
    finish_waits: no report before it is decided."""

    number: int
    title: str
    priority: str  # R4's request-priority
    escalate: int
    breach: int
    voice: bool
    finish_waits: bool


def suggested(
    facts: Sequence[Fact], rules: Iterable[UrgentRule], *, species: str, units: Units
) -> dict[str, tuple[Fact, ...]]:
    """The codes of the urgent findings that the facts suggest, each with the facts it rests on."""
    found: dict[str, tuple[Fact, ...]] = {}
    by_item: dict[str, list[Fact]] = {}
    for fact in facts:
        by_item.setdefault(fact.item, []).append(fact)
    for rule in rules:
        resting: dict[tuple[str, str], Fact] = {}
        for trigger in rule.triggers:
            if species in trigger.species and species in rule.species:
                resting |= {(f.source, f.words): f for f in _because(trigger, by_item, units)}
        if resting:
            found[rule.code] = tuple(resting.values())
    return found


def touched(rules: Iterable[UrgentRule]) -> frozenset[tuple[str, str]]:
    """The (structure, item) pairs that any trigger looks at."""
    tests = (t for rule in rules for trigger in rule.triggers for t in trigger.tests)
    return frozenset((s, i) for t in tests for s in t.structures for i in t.items)


def _because(trigger: Trigger, facts: Mapping[str, Sequence[Fact]], units: Units) -> list[Fact]:
    """The facts that fulfil all conditions of a trigger; none when one is not fulfilled."""
    because: list[Fact] = []
    for test in trigger.tests:
        near = [f for item in test.items for f in facts.get(item, ()) if f.structure in test.structures]
        if test.sign == "!=":
            if near and not any(f.value not in test.values for f in near):
                return []
            continue
        holding = _often([f for f in near if _holds(test, f, units)], test.times)
        if not holding:
            return []
        because += holding
    return because


def _often(facts: Sequence[Fact], times: int) -> list[Fact]:
    """The facts about what was read so many times: a second fetus is no second reading of the first."""
    alike = Counter((f.structure, f.which) for f in {(f.source, f.which): f for f in facts}.values())
    return [f for f in facts if alike[f.structure, f.which] >= times]


def _holds(test: Condition, fact: Fact, units: Units) -> bool:
    if test.sign == "=":
        return fact.value in test.values
    factor = Decimal(1) if fact.unit == test.unit else units.get((test.unit, fact.unit))
    return fact.quantity is not None and factor is not None and SIGNS[test.sign](fact.quantity * factor, test.limit)
