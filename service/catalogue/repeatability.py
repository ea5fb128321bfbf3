"""Turns rows about repeatability into the change that each measurement must pass to be more than the measuring."""

from collections.abc import Mapping
from decimal import Decimal

from service.catalogue.measurements import SPECIES, MeasureKey
from service.catalogue.rows_computations import RepeatabilityRow
from service.catalogue.sheets import Sheets
from service.exam.rules import MeasureRule
from service.exam.trend import Repeatability


def repeatability(sheets: Sheets, measures: Mapping[MeasureKey, MeasureRule]) -> dict[MeasureKey, Repeatability]:
    """By (species, structure, measure), structure "" for all that have no row of their own."""
    found: dict[MeasureKey, Repeatability] = {}
    for placed in sheets.read("repeatability.csv", RepeatabilityRow):
        row = placed.row
        for species in SPECIES[row.species]:
            for structure in row.structures or ("",):
                key = (species, structure, row.measure)
                if not any(s == species and m == row.measure and structure in {"", t} for s, t, m in measures):
                    sheets.fault(placed.line, f"no {structure} of the {species} has a {row.measure}")
                if key in found:
                    sheets.fault(
                        placed.line, f"{row.measure} has a row for {structure or 'all'} of the {species} already"
                    )
                unit = next((r.unit for (s, _, m), r in measures.items() if (s, m) == (species, row.measure)), "")
                amount = Decimal(row.within.removesuffix("%"))
                found[key] = Repeatability(structure, row.measure, amount, row.within.endswith("%"), row.source, unit)
    return found
