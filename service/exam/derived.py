"""The readings of one exam into all that its formulas make of them."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from service.exam import moments
from service.exam.formulas import AGE, OWN, WEIGHT, Computation, Formula, Input, decimal, rounded
from service.exam.readings import Pool, Reading, Taken, mean, together
from service.exam.rules import MeasureRule

Measures = Mapping[tuple[str, str, str], MeasureRule]
MADE = "derived:"  # key of an act that was a computation, and the source of a result before it is a resource


@dataclass(frozen=True, slots=True)
class Facts:
    """What the formulas need of the animal: kg and years, None when not known. weighed: the source of the weight."""

    species: str
    sex: str = ""
    neutered: bool | None = None
    weight: Fraction | None = None
    weighed: str = ""
    age: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Derived:
    """One result. value is exact, in the formula's unit; sources are what went in, other results by their name.

    group: the source of the one reading that it belongs to, where a structure has several. readings: of a mean."""

    computation: Computation
    value: Fraction
    sources: tuple[str, ...]
    at: str
    side: str = ""
    group: str = ""
    readings: int = 0

    @property
    def name(self) -> str:
        """What makes it this result and no other of its exam."""
        row = self.computation
        return f"{MADE}{row.formula.key}:{row.structure}:{row.measure}:{self.group}"

    @property
    def exact(self) -> Fraction:
        """The value in the unit of its measure."""
        return self.value * self.computation.factor

    @property
    def unrounded(self) -> Decimal:
        """The value with all its digits, or 28 of them: what is compared with a limit."""
        return decimal(self.value)

    @property
    def shown(self) -> Decimal:
        """The value with the digits of its row."""
        return rounded(self.unrounded, self.computation.formula.decimals)


def derive(
    readings: Iterable[Reading],
    *,
    computations: Sequence[Computation],
    averaged: Formula | None,
    measures: Measures,
    facts: Facts,
) -> tuple[Derived, ...]:
    """Every result whose inputs are there, in the order of the rows, then the means of what was measured repeatedly.

    readings of one measure in the order in which they came in; averaged: the formula of these means. A formula that
    would divide by nothing, or that is for other animals, gives no result."""
    pool = Pool(readings, repeated=lambda s, m: _doppler(measures, facts, s, m))
    found: list[Derived] = []
    for row in computations:
        for one in _results(row, pool, facts):
            found.append(one)
            pool.add(Reading(row.structure, row.measure, one.exact, one.name, one.at, one.side, made=True))
    return (*found, *(_means(pool, averaged, measures=measures, facts=facts) if averaged else ()))


def _doppler(measures: Measures, facts: Facts, structure: str, measure: str) -> bool:
    rule = measures.get((facts.species, structure, measure))
    return rule is not None and rule.doppler


def _results(row: Computation, pool: Pool, facts: Facts) -> Iterator[Derived]:
    if row.formula.expression is None or not _fits(row, facts):
        return
    for group, given in _given(row, pool, facts):
        found = _result(row, given, facts)
        if found is not None:
            yield replace(found, group=group.source if group else "", side=group.side if group else "")


def _fits(row: Computation, facts: Facts) -> bool:
    fits = row.neutered is None or row.neutered == facts.neutered
    return row.species == facts.species and (not row.sex or row.sex == facts.sex) and fits


def _given(row: Computation, pool: Pool, facts: Facts) -> Iterator[tuple[Reading | None, dict[str, Taken]]]:
    """(the reading that names the group, all inputs by name) of each result that can be computed."""
    own = [one for one in row.inputs if one.places and one.places[0][0] == OWN] if row.each else []
    many = [pool.of(row.structure, one.places[0][1]) for one in own]
    groups = together(many) if many else []
    if not groups and row.each != "node":
        given = _all(row.inputs, row, pool, facts)
        if given is not None:
            yield None, given
    rest = [one for one in row.inputs if one not in own]
    for group in groups:
        given = _all(rest, row, pool, facts)
        if given is not None:
            yield group[0], given | {o.name: Taken(r.value, (r,)) for o, r in zip(own, group, strict=True)}


def _all(inputs: Iterable[Input], row: Computation, pool: Pool, facts: Facts) -> dict[str, Taken] | None:
    given = {one.name: _taken(one, row, pool, facts) for one in inputs}
    whole = {name: taken for name, taken in given.items() if taken is not None}
    return whole if len(whole) == len(given) else None


def _taken(one: Input, row: Computation, pool: Pool, facts: Facts) -> Taken | None:
    if one.number is not None:
        return Taken(one.number)
    if one.animal:
        known = {WEIGHT: facts.weight, AGE: facts.age}[one.animal]
        return Taken(known) if known is not None and known > 0 else None
    for structure, measure in one.places:
        where = row.structure if structure == OWN else structure
        found = pool.extreme(where, measure, one.pick) if one.pick else pool.one(where, measure)
        if found is not None:
            return found
    return None


def _result(row: Computation, given: Mapping[str, Taken], facts: Facts) -> Derived | None:
    expression = row.formula.expression
    assert expression is not None
    try:
        value = expression.of({one.name: given[one.name].value / one.factor for one in row.inputs})
    except ZeroDivisionError:
        return None
    used = [one for one in row.inputs if one.name in expression.names]
    sources = [r.source for one in used for r in given[one.name].readings]
    if facts.weighed and any(one.animal == WEIGHT for one in used):
        sources.append(facts.weighed)
    times = [r.at for taken in given.values() for r in taken.readings if r.at]
    return Derived(row, value, tuple(dict.fromkeys(sources)), moments.latest(times))


def _means(pool: Pool, formula: Formula, *, measures: Measures, facts: Facts) -> Iterator[Derived]:
    """The mean of each Doppler measure that has more than one reading; the readings stay as they are."""
    for structure, measure in pool.places():
        rule = measures.get((facts.species, structure, measure))
        found = pool.of(structure, measure)
        if rule is None or not rule.doppler or len(found) < 2:
            continue
        taken = mean(found)
        as_measured = replace(formula, unit=rule.unit, decimals=rule.decimals)
        row = Computation(as_measured, facts.species, structure, measure, ())
        at = moments.latest([r.at for r in found if r.at])
        yield Derived(row, taken.value, tuple(r.source for r in found), at, readings=len(found))
