"""Formulas whose own structure was measured but that lack something else, into what they lack."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol

from service.exam.evidence import Evidence
from service.exam.formulas import AGE, OWN, WEIGHT, Computation, Formula
from service.exam.readings import Place
from service.exam.rules import Protocol as Survey


class Rules(Protocol):
    """What is computed and what the survey asks for; service.catalogue's Catalogue honours it."""

    @property
    def computations(self) -> Mapping[str, tuple[Computation, ...]]: ...
    @property
    def protocols(self) -> Mapping[str, Survey]: ...


@dataclass(frozen=True, slots=True)
class Uncomputed:
    """A formula for a structure, and what it lacks: "weight", "age", or a place that was to be measured."""

    formula: Formula
    structure: str
    lacks: tuple[str | Place, ...]


def uncomputed(
    evidence: Iterable[Evidence], *, species: str, weighed: bool, aged: bool, rules: Rules
) -> Iterator[Uncomputed]:
    """What could be computed of what was measured, had the animal's weight or age, or what the survey asks for of
    another structure, been there too. A measurement that no survey asks for is not missed."""
    measured = set(_measured(evidence))
    done = set(_computed(evidence))
    survey = rules.protocols.get(species)
    asked = {(s.structure, m) for s in (survey.steps if survey else ()) for m in s.measures}
    known = {WEIGHT: weighed, AGE: aged}
    for row in rules.computations.get(species, ()):
        if (row.formula.key, row.structure, row.measure) in done or not _own(row, measured):
            continue
        lacks = list(_lacks(row, measured, known))
        if lacks and all(one in known or one in asked for one in lacks):
            yield Uncomputed(row.formula, row.structure, tuple(lacks))


def _own(row: Computation, measured: set[Place]) -> bool:
    """Whether all of its own structure was measured."""
    own = [(row.structure, m) for one in row.inputs for s, m in one.places if s == OWN]
    return bool(own) and set(own) <= measured


def _lacks(row: Computation, measured: set[Place], known: Mapping[str, bool]) -> Iterator[str | Place]:
    for one in row.inputs:
        if one.animal and not known[one.animal]:
            yield one.animal
        elif one.places and one.places[0][0] != OWN and not measured & set(one.places):
            yield one.places[-1]


def _measured(evidence: Iterable[Evidence]) -> Iterator[Place]:
    for one in evidence:
        if one.sighting.quantity is not None and not one.sighting.retracted:
            yield from ((one.structure, i.partition(":")[2]) for i in one.items if i.startswith("measure:"))


def _computed(evidence: Iterable[Evidence]) -> Iterator[tuple[str, str, str]]:
    for one in evidence:
        if one.sighting.formula:
            yield from ((one.sighting.formula, one.structure, i.partition(":")[2]) for i in one.items)
