"""Turns rows about formulas into formulas that were read and worked through once."""

from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from service.catalogue.codings import Codes
from service.catalogue.rows_computations import BandRow, FormulaRow
from service.catalogue.sheets import Placed, Sheets
from service.exam.expression import Expression, read
from service.exam.formulas import Band, Formula, decimal, rounded

FILE = "formulas.csv"


def formulas(sheets: Sheets, codes: Codes) -> dict[str, Formula]:
    """The formulas by key; each that computes must come to its own worked example."""
    rows = sheets.read(FILE, FormulaRow)
    bands = sheets.read("formula-bands.csv", BandRow)
    for placed in bands:
        if placed.row.formula not in sheets.known(FILE, "formula"):
            sheets.fault(placed.line, f'formula "{placed.row.formula}" is not in {FILE}')
    return {p.row.formula: _formula(p, sheets, codes, bands=_bands(p.row.formula, bands, sheets)) for p in rows}


def _formula(placed: Placed[FormulaRow], sheets: Sheets, codes: Codes, *, bands: tuple[Band, ...]) -> Formula:
    row = placed.row
    expression = _expression(placed, sheets)
    if row.kind == "value" and not (expression and row.unit and row.decimals):
        sheets.fault(placed.line, "a value needs an expression, a unit and its decimals")
    if expression is not None:
        _worked(placed, sheets, expression)
    tolerance = row.tolerance.removesuffix("%")
    return Formula(
        key=row.formula,
        title=row.title,
        kind=row.kind,
        text=row.text,
        unit=row.unit,
        decimals=int(row.decimals or 0),
        expression=expression,
        tolerance=Decimal(tolerance) if tolerance else None,
        per_cent=row.tolerance.endswith("%"),
        evidence=row.evidence,
        source=row.source,
        bands=bands,
        codes=codes.optional(placed.line, row.system, row.code, row.display),
    )


def _expression(placed: Placed[FormulaRow], sheets: Sheets) -> Expression | None:
    if not placed.row.expression:
        return None
    try:
        return read(placed.row.expression)
    except ValueError as error:
        sheets.fault(placed.line, f"expression: {error}")
        return None


def _worked(placed: Placed[FormulaRow], sheets: Sheets, expression: Expression) -> None:
    """The example comes to the result with as many digits as it is given."""
    row = placed.row
    given = dict(one.partition("=")[::2] for one in row.worked)
    if set(given) != set(expression.names) or row.result is None:
        sheets.fault(placed.line, f"worked must give {', '.join(expression.names)}, and result what they come to")
        return
    try:
        found = decimal(expression.of({name: Fraction(text) for name, text in given.items()}))
    except (ValueError, ZeroDivisionError):
        sheets.fault(placed.line, "worked: the example cannot be computed")
        return
    digits = -int(row.result.as_tuple().exponent)
    if rounded(found, digits) != row.result:
        sheets.fault(placed.line, f"worked: the example comes to {rounded(found, digits)}, not {row.result}")


def _bands(formula: str, rows: list[Placed[BandRow]], sheets: Sheets) -> tuple[Band, ...]:
    own = [p for p in rows if p.row.formula == formula]
    for one, following in pairwise(own):
        if following.row.low <= one.row.low:
            sheets.fault(following.line, "the stretches must rise")
    return tuple(Band(p.row.low, p.row.band, p.row.display) for p in own)
