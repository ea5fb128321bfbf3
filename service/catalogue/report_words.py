"""The words of the report: clauses for findings, sentences by key, and what is spoken of as several."""

from collections.abc import Mapping
from string import Formatter
from typing import Any

from service.catalogue.rows_report import ClauseRow, PhraseRow, PluralRow
from service.catalogue.sheets import Line, Sheets
from service.exam.report_phrases import PLACES, PRONOUNS, missing
from service.exam.rules import Attribute, Structure

ALL = "*"
Clauses = Mapping[tuple[str, str, str], str]  # (vocabulary or "*", attribute, value) -> clause


def spoken(
    sheets: Sheets, structures: Mapping[str, Structure], *, vocabularies: Mapping[str, tuple[Attribute, ...]]
) -> dict[str, Any]:
    """All of them by the catalogue's own names."""
    return {
        "clauses": clauses(sheets, vocabularies),
        "phrases": phrases(sheets),
        "plurals": plurals(sheets, structures),
    }


def clauses(sheets: Sheets, vocabularies: Mapping[str, tuple[Attribute, ...]]) -> Clauses:
    """The clause of each value of a finding; one that names no value or vocabulary there is is a fault."""
    known = {(name, a.key, v.code) for name, many in vocabularies.items() for a in many for v in a.values}
    found: dict[tuple[str, str, str], str] = {}
    for placed in sheets.read("report-clauses.csv", ClauseRow):
        row, line = placed.row, placed.line
        filled(sheets, line, row.clause, allowed=PRONOUNS)
        if not row.vocabularies and not any(k[1:] == (row.attribute, row.value) for k in known):
            sheets.fault(line, f"no vocabulary has {row.attribute} {row.value}")
        for name in row.vocabularies:
            if (name, row.attribute, row.value) not in known:
                sheets.fault(line, f"the vocabulary {name} has no {row.attribute} {row.value}")
        found.update({(name, row.attribute, row.value): row.clause for name in row.vocabularies or (ALL,)})
    return found


def phrases(sheets: Sheets) -> Mapping[str, str]:
    """The sentences of the report by key; each that is said must be there, and fill its places."""
    found: dict[str, str] = {}
    for placed in sheets.read("report-phrases.csv", PhraseRow):
        row, line = placed.row, placed.line
        if row.phrase not in PLACES:
            sheets.fault(line, f"the report says no phrase {row.phrase}")
            continue
        places = filled(sheets, line, row.text, allowed=PLACES[row.phrase])
        lost = sorted(missing(row.phrase, places))
        if lost:
            sheets.fault(line, f"{row.phrase} must say {', '.join(f'{{{one}}}' for one in lost)}")
        found[row.phrase] = row.text
    there = sheets.known("report-phrases.csv", "phrase")
    sheets.faults += [f"report-phrases.csv:0: the phrase {key} is missing" for key in PLACES if key not in there]
    return found


def plurals(sheets: Sheets, structures: Mapping[str, Structure]) -> frozenset[str]:
    """The structures that are spoken of as several."""
    read = sheets.read("report-plurals.csv", PluralRow)
    for placed in read:
        if placed.row.structure not in structures:
            sheets.fault(placed.line, f"there is no structure {placed.row.structure}")
    return frozenset(placed.row.structure for placed in read)


def filled(sheets: Sheets, line: Line, text: str, *, allowed: frozenset[str]) -> frozenset[str]:
    """The places that a text fills; one that is not allowed, or a brace that is no place, is a fault."""
    try:
        places = {name for _, name, spec, how in Formatter().parse(text) if name is not None or spec or how}
    except ValueError:
        sheets.fault(line, "a brace stands alone")
        return frozenset()
    strange = sorted(str(p) for p in places - allowed)
    if strange:
        sheets.fault(line, f"there is no place {', '.join(f'{{{one}}}' for one in strange)} here")
    return frozenset(str(p) for p in places)
