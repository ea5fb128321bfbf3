"""Turns rows about tables of limits into those in force, and lets the survey ask for what they judge."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from service.catalogue import limit_faults
from service.catalogue.rows_limits import ChoiceRow, PlaceRow, TableRow
from service.catalogue.sheets import Sheets
from service.exam.limits import Table
from service.exam.rules import Protocol, StepRule


@dataclass(frozen=True, slots=True)
class Chosen:
    """The tables to choose from, those in force among them, and the places a measurement can be taken at."""

    tables: tuple[Table, ...]
    places: dict[str, str]

    @property
    def in_force(self) -> frozenset[str]:
        """Keys of the tables in force."""
        return frozenset(t.key for t in self.tables if t.in_force)


def chosen(sheets: Sheets) -> Chosen:
    """The tables of limit-tables.csv with the choice of limit-choices.csv, and the places."""
    rows = sheets.read("limit-tables.csv", TableRow)
    choices = sheets.read("limit-choices.csv", ChoiceRow)
    limit_faults.choices(sheets, rows, choices)
    picked = {p.row.table for p in choices}
    tables = tuple(_table(p.row, picked) for p in rows)
    return Chosen(tables, {p.row.place: p.row.display for p in sheets.read("places.csv", PlaceRow)})


def _table(row: TableRow, picked: Iterable[str]) -> Table:
    return Table(row.table, row.choice, row.title, row.species, row.structures, row.measure, row.table in picked)


def asked(protocols: Mapping[str, Protocol], tables: Sequence[Table]) -> dict[str, Protocol]:
    """The protocols asking for the measurement that the table in force judges, in place of another table's."""
    swaps = {
        (one.species, structure, other.measure): one.measure
        for one in tables
        for other in tables
        for structure in one.structures
        if one.in_force and not other.in_force and one.choice == other.choice and one.measure != other.measure
    }
    return {
        species: replace(one, steps=tuple(_asking(rule, species, swaps) for rule in one.steps))
        for species, one in protocols.items()
    }


def _asking(rule: StepRule, species: str, swaps: Mapping[tuple[str, str, str], str]) -> StepRule:
    measures = tuple(dict.fromkeys(swaps.get((species, rule.structure, m), m) for m in rule.measures))
    left = [m for m in (*rule.measures, *rule.may_measure) if m not in measures]
    return rule if measures == rule.measures else replace(rule, measures=measures, may_measure=tuple(left))
