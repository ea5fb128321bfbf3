"""Turns rows about findings into the vocabularies that structures are described by."""

from collections import defaultdict

from service.catalogue.rows_survey import AttributeRow, FindingRow
from service.catalogue.sheets import Placed, Sheets
from service.exam.rules import Attribute, Structure, Value

Vocabularies = dict[str, tuple[Attribute, ...]]


def vocabularies(sheets: Sheets, *, structures: dict[str, Structure]) -> Vocabularies:
    """Attributes by vocabulary, in the order of the file; every structure's vocabulary must be there."""
    questions = sheets.read("attributes.csv", AttributeRow)
    values = _values(sheets)
    found: defaultdict[str, tuple[Attribute, ...]] = defaultdict(tuple)
    for placed in questions:
        row = placed.row
        own = tuple(values.get((row.vocabulary, row.attribute), ()))
        if not own:
            sheets.fault(placed.line, f"{row.vocabulary} {row.attribute} has no values in findings.csv")
        _condition(placed, sheets, values)
        found[row.vocabulary] += (Attribute(row.attribute, row.title, own, row.compared_with, row.asked_when),)
    _used(sheets, structures)
    return dict(found)


def _values(sheets: Sheets) -> dict[tuple[str, str], list[Value]]:
    found: defaultdict[tuple[str, str], list[Value]] = defaultdict(list)
    rows = sheets.read("findings.csv", FindingRow)
    known = sheets.pairs("attributes.csv", "vocabulary", "attribute")
    for placed in rows:
        row = placed.row
        if (row.vocabulary, row.attribute) not in known:
            sheets.fault(placed.line, f"{row.vocabulary} {row.attribute} is not in attributes.csv")
        if row.default and row.grade > 0:
            sheets.fault(placed.line, "what is expected has grade 0")
        found[row.vocabulary, row.attribute].append(Value(row.value, row.display, row.default, row.grade))
    return found


def _condition(placed: Placed[AttributeRow], sheets: Sheets, values: dict[tuple[str, str], list[Value]]) -> None:
    asked = placed.row.asked_when
    if not asked:
        return
    attribute, _, value = asked.replace("!=", "=").partition("=")
    others = values.get((placed.row.vocabulary, attribute), [])
    if attribute == placed.row.attribute or value not in {v.code for v in others}:
        sheets.fault(placed.line, f'asked_when "{asked}" names no attribute and value of {placed.row.vocabulary}')


def _used(sheets: Sheets, structures: dict[str, Structure]) -> None:
    known = sheets.known("attributes.csv", "vocabulary")
    for name in sorted({s.vocabulary for s in structures.values()} - known):
        sheets.faults.append(f'structures.csv:0: vocabulary "{name}" is not in attributes.csv')
