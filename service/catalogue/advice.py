"""Turns rows about words that stand for measurements, and about what to think of, into bands and prompts."""

from collections import defaultdict

from service.catalogue.catalogue import Key
from service.catalogue.codings import OWN_SYSTEMS, Codes
from service.catalogue.rows_advice import BandRow, PromptRow, TranslationRow
from service.catalogue.sheets import Placed, Sheets
from service.exam.rules import Attribute, Band, Prompt

Word = tuple[str, str, str]  # vocabulary, attribute, value


def bands(sheets: Sheets, measurable: dict[str, set[str]]) -> dict[Word, tuple[Band, ...]]:
    """The bands of each word. measurable: by vocabulary, what can be measured of all its structures."""
    found: defaultdict[Word, tuple[Band, ...]] = defaultdict(tuple)
    for placed in sheets.read("bands.csv", BandRow):
        row = placed.row
        if row.measure not in measurable.get(row.vocabulary, {row.measure}):
            sheets.fault(placed.line, f'{row.vocabulary} has no measure "{row.measure}" in measure-ranges.csv')
        if (row.above is None) is (row.at_least is None) or (row.at_most is not None and row.below is not None):
            sheets.fault(placed.line, "a band begins either above or at a number, and ends at most once")
        word = (row.vocabulary, row.attribute, row.value)
        found[word] += (Band(row.measure, row.species, row.above, row.at_least, row.at_most, row.below),)
    return dict(found)


def check_bands(sheets: Sheets, found: dict[Word, tuple[Band, ...]], known: set[Word]) -> None:
    """A band of a word that is not in findings.csv is a fault."""
    for word in sorted(set(found) - known):
        sheets.faults.append(f"bands.csv:0: {'.'.join(word)} is not in findings.csv")


def translations(sheets: Sheets, codes: Codes) -> dict[Key, tuple[tuple[str, str], ...]]:
    """(system, code) -> (language, words) of each translation; only codes of our own systems have any."""
    found: defaultdict[Key, tuple[tuple[str, str], ...]] = defaultdict(tuple)
    for placed in sheets.read("translations.csv", TranslationRow):
        row = placed.row
        if row.system not in OWN_SYSTEMS:
            sheets.fault(placed.line, f'system "{row.system}" is none of ours: {", ".join(OWN_SYSTEMS)}')
        found[codes.systems.get(row.system, ""), row.code] += ((row.language, row.text),)
    return dict(found)


def prompts(sheets: Sheets, *, vocabularies: dict[str, tuple[Attribute, ...]]) -> tuple[Prompt, ...]:
    """The prompts in the order of the file."""
    rows = sheets.read("prompts.csv", PromptRow)
    for placed in rows:
        for condition in filter(None, (placed.row.when, placed.row.unless)):
            _check(placed, condition, sheets, vocabularies.get(placed.row.vocabulary, ()))
    return tuple(Prompt(p.row.prompt, p.row.vocabulary, p.row.when, p.row.unless, p.row.text) for p in rows)


def _check(placed: Placed[PromptRow], condition: str, sheets: Sheets, attributes: tuple[Attribute, ...]) -> None:
    key, _, wanted = condition.partition("=")
    known = {v.code for a in attributes if a.key == key for v in a.values}
    if key != "disposition" and not set(wanted.split("|")) <= known:
        sheets.fault(placed.line, f'"{condition}" names no attribute and values of {placed.row.vocabulary}')
