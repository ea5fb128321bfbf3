"""Turns rows about findings into the vocabularies that structures are described by."""

from collections import defaultdict

from service.catalogue import advice
from service.catalogue.measurements import MeasureKey
from service.catalogue.rows_survey import AttributeRow, FindingRow
from service.catalogue.sheets import Placed, Sheets
from service.exam.rules import Attribute, MeasureRule, Structure, Value

Vocabularies = dict[str, tuple[Attribute, ...]]


def vocabularies(
    sheets: Sheets, *, structures: dict[str, Structure], measures: dict[MeasureKey, MeasureRule]
) -> Vocabularies:
    """Attributes by vocabulary, in the order of the file; every structure's vocabulary must be there, and a value asks
    only for what can be measured of the structures that it is said of."""
    questions = sheets.read("attributes.csv", AttributeRow)
    values = _values(sheets, _measurable(structures, measures))
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


def _measurable(structures: dict[str, Structure], measures: dict[MeasureKey, MeasureRule]) -> dict[str, set[str]]:
    """What can be measured of every structure of a vocabulary, in one species at least."""
    found: dict[str, set[str]] = {}
    for structure in structures.values():
        own = {key for _, name, key in measures if name == structure.key}
        found[structure.vocabulary] = found.get(structure.vocabulary, own) & own
    return found


def _values(sheets: Sheets, measurable: dict[str, set[str]]) -> dict[tuple[str, str], list[Value]]:
    found: defaultdict[tuple[str, str], list[Value]] = defaultdict(list)
    rows = sheets.read("findings.csv", FindingRow)
    bands = advice.bands(sheets, measurable)
    advice.check_bands(sheets, bands, {(p.row.vocabulary, p.row.attribute, p.row.value) for p in rows})
    known = sheets.pairs("attributes.csv", "vocabulary", "attribute")
    for placed in rows:
        row = placed.row
        if (row.vocabulary, row.attribute) not in known:
            sheets.fault(placed.line, f"{row.vocabulary} {row.attribute} is not in attributes.csv")
        others = found[row.vocabulary, row.attribute]
        _check(placed, sheets, others, measurable=measurable.get(row.vocabulary))
        own = bands.get((row.vocabulary, row.attribute, row.value), ())
        others.append(Value(row.value, row.display, row.default, row.grade, row.measures, row.lesions, own))
    return found


def _check(placed: Placed[FindingRow], sheets: Sheets, others: list[Value], *, measurable: set[str] | None) -> None:
    row = placed.row
    if row.default and row.grade > 0:
        sheets.fault(placed.line, "what is expected has grade 0")
    if row.default and any(v.default for v in others):
        sheets.fault(placed.line, f"{row.vocabulary} {row.attribute} has a default already: one attribute, one default")
    for wanted in row.measures:
        if measurable is not None and not set(wanted.split("|")) <= measurable:
            text = f'asks for "{wanted}", which measure-ranges.csv has not for every structure of {row.vocabulary}'
            sheets.fault(placed.line, text)


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
