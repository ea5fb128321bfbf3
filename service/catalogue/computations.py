"""Turns rows about where formulas apply into computations for each species and structure."""

from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from fractions import Fraction

from service.catalogue.measurements import SPECIES, MeasureKey
from service.catalogue.rows_computations import ComputationRow, ReadingRow
from service.catalogue.sheets import Placed, Sheets
from service.catalogue.vocabulary import Vocabularies
from service.exam.formulas import AGE, OWN, WEIGHT, Computation, Formula, Input
from service.exam.rules import MeasureRule, Structure

Measures = Mapping[MeasureKey, MeasureRule]
Units = Mapping[tuple[str, str], Decimal]
Readings = Mapping[tuple[str, str, str], tuple[str, Decimal]]


def computations(
    sheets: Sheets, *, formulas: Mapping[str, Formula], measures: Measures, units: Units
) -> dict[str, tuple[Computation, ...]]:
    """By species, in an order in which each finds its inputs; faults name what is not there to be measured."""
    found: dict[str, list[Computation]] = {"dog": [], "cat": []}
    for placed in sheets.read("computations.csv", ComputationRow):
        formula = formulas.get(placed.row.formula)
        if formula is None or formula.expression is None:
            sheets.fault(placed.line, f'formula "{placed.row.formula}" is not in formulas.csv, or computes nothing')
            continue
        for species in SPECIES[placed.row.species]:
            found[species] += _of_species(placed, sheets, species, formula=formula, measures=measures, units=units)
    for rows in found.values():
        _in_order(rows, sheets)
    return {species: tuple(rows) for species, rows in found.items()}


def _of_species(
    placed: Placed[ComputationRow], sheets: Sheets, species: str, *, formula: Formula, measures: Measures, units: Units
) -> Iterator[Computation]:
    row = placed.row
    for structure in row.structures:
        result = measures.get((species, structure, row.measure))
        factor = _factor(result, formula.unit, units)
        if result is None or factor is None:
            sheets.fault(placed.line, f"{structure} of the {species} has no {row.measure} in {formula.unit}")
            continue
        inputs = []
        for text in row.inputs:
            one = _input(text, (species, structure), measures=measures, units=units)
            if isinstance(one, str):
                sheets.fault(placed.line, f"{text}: {one}")
            else:
                inputs.append(one)
        _complete(placed, sheets, formula, inputs)
        yield Computation(
            formula, species, structure, row.measure, tuple(inputs),
            each=row.each, checks=row.checks, sex=row.sex, neutered=row.neutered, factor=factor,
        )  # fmt: skip


def _complete(placed: Placed[ComputationRow], sheets: Sheets, formula: Formula, inputs: Iterable[Input]) -> None:
    named = [one.name for one in inputs]
    missing = set(formula.expression.names if formula.expression else ()) - set(named)
    if missing:
        sheets.fault(placed.line, f"the formula needs {', '.join(sorted(missing))}")
    if not any(structure == OWN for one in inputs for structure, _ in one.places):
        sheets.fault(placed.line, "nothing of the structure itself goes in: it would be told unseen")


def _input(text: str, where: tuple[str, str], *, measures: Measures, units: Units) -> Input | str:
    """One input, or what is wrong with it."""
    name, _, given = text.partition("=")
    if given in (WEIGHT, AGE):
        return Input(name, animal=given)
    if given.replace(".", "", 1).isdigit():
        return Input(name, number=Fraction(given))
    rest, _, pick = given.partition("|")
    wanted, _, unit = rest.partition(":")
    places = [(s, m) for s, _, m in (one.partition(".") for one in wanted.split("/"))]
    factors = set()
    for structure, measure in places:
        rule = measures.get((where[0], where[1] if structure == OWN else structure, measure))
        factor = _factor(rule, unit or (rule.unit if rule else ""), units)
        if factor is None:
            return f"{structure}.{measure} is no measurement of the {where[0]} that can be had in that unit"
        factors.add(factor)
    if pick not in {"", "max", "min"} or len(factors) != 1:
        return "is written name=structure.measure/structure.measure:unit|max or min"
    return Input(name, places=tuple(places), factor=factors.pop(), pick=pick)


def _factor(rule: MeasureRule | None, unit: str, units: Units) -> Fraction | None:
    if rule is None:
        return None
    found = Decimal(1) if rule.unit == unit else units.get((rule.unit, unit))
    return Fraction(found) if found is not None else None


def _in_order(rows: list[Computation], sheets: Sheets) -> None:
    for index, row in enumerate(rows):
        later = {(r.structure, r.measure) for r in rows[index:]}
        for structure, measure in sorted(set(row.needs) & later):
            sheets.faults.append(
                f"computations.csv:0: {row.formula.key} needs {structure} {measure}, which comes later"
            )


def readings(
    sheets: Sheets, structures: Mapping[str, Structure], *, vocabularies: Vocabularies, measures: Measures
) -> Readings:
    """(structure, attribute, value) of findings that stand for a value of a measurement."""
    found: dict[tuple[str, str, str], tuple[str, Decimal]] = {}
    for placed in sheets.read("finding-readings.csv", ReadingRow):
        row = placed.row
        structure = structures.get(row.structure)
        rows = vocabularies.get(structure.vocabulary, ()) if structure else ()
        if not any(a.key == row.attribute and any(v.code == row.value for v in a.values) for a in rows):
            sheets.fault(placed.line, f"{row.structure} has no {row.attribute} {row.value}")
        if not any((s, m) == (row.structure, row.measure) for _, s, m in measures):
            sheets.fault(placed.line, f"{row.structure} has no {row.measure}")
        found[row.structure, row.attribute, row.value] = (row.measure, row.reads)
    return found
