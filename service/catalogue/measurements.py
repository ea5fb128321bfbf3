"""Turns rows about measurements into what is plausible for each species, structure and measurement."""

from decimal import Decimal

from service.basics.coding import Coding
from service.catalogue.codings import Codes
from service.catalogue.rows_survey import MeasureRow, RangeRow
from service.catalogue.sheets import Placed, Sheets
from service.exam.rules import MeasureRule

MeasureKey = tuple[str, str, str]  # species, structure, measure
SPECIES = {"both": ("dog", "cat"), "dog": ("dog",), "cat": ("cat",)}


def measures(sheets: Sheets, codes: Codes, *, units: dict[tuple[str, str], Decimal]) -> dict[MeasureKey, MeasureRule]:
    """The rules by (species, structure, measure): codes (outside first, our own last), unit and plausible range."""
    named = {p.row.measure: (p.row, _codes(p, codes)) for p in sheets.read("measures.csv", MeasureRow)}
    for row, _ in named.values():
        if (row.unit, row.unit) not in units:
            sheets.faults.append(f'measures.csv:0: {row.measure}: unit "{row.unit}" is not in units.csv')
    found: dict[MeasureKey, MeasureRule] = {}
    for placed in sheets.read("measure-ranges.csv", RangeRow):
        if _sound(placed, sheets) and placed.row.measure in named:
            _add(found, placed, sheets, named=named)
    return found


def _codes(placed: Placed[MeasureRow], codes: Codes) -> tuple[Coding, ...]:
    row = placed.row
    outside = codes.optional(placed.line, row.system, row.code, row.display)
    return (*outside, codes.own("measure", row.measure, row.title))


def _sound(placed: Placed[RangeRow], sheets: Sheets) -> bool:
    row = placed.row
    faults = []
    if row.structure not in sheets.known("structures.csv", "structure"):
        faults.append(f'structure "{row.structure}" is not in structures.csv')
    if row.measure not in sheets.known("measures.csv", "measure"):
        faults.append(f'measure "{row.measure}" is not in measures.csv')
    if row.low >= row.high:
        faults.append(f"low {row.low} is not below high {row.high}")
    for text in faults:
        sheets.fault(placed.line, text)
    return not faults


def _add(
    found: dict[MeasureKey, MeasureRule],
    placed: Placed[RangeRow],
    sheets: Sheets,
    *,
    named: dict[str, tuple[MeasureRow, tuple[Coding, ...]]],
) -> None:
    row = placed.row
    measure, codings = named[row.measure]
    for species in SPECIES[row.species]:
        key = (species, row.structure, row.measure)
        if key in found:
            sheets.fault(placed.line, f"{row.structure} {row.measure} has a range for the {species} already")
        found[key] = MeasureRule(
            row.structure,
            row.measure,
            measure.title,
            codings,
            measure.unit,
            measure.decimals,
            row.low,
            row.high,
            measure.doppler,
        )
