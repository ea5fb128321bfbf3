"""Turns the printed form of an invoice into the data that the PDF's template sets: texts, lists and nothing else."""

from dataclasses import asdict
from typing import Any

from service.billing.sheet import Fact, Sheet
from service.fhir.writing.breaking import IN_A_COLUMN, IN_A_LINE, broken

Json = dict[str, Any]
TEMPLATE = "invoice"
IN_HALF = 40  # a word longer than this would run out of half a page


def printed(sheet: Sheet) -> Json:
    """The sheet as invoice.typ reads it; the same sheet gives the same data."""
    words, (language, _, region) = sheet.words, sheet.language.partition("-")
    return {
        "lang": language,
        "region": region if len(region) == 2 and region.isascii() and region.isalpha() else "",
        "heading": broken(sheet.heading, IN_HALF),
        "issued": sheet.issued,
        "seller": broken(asdict(sheet.seller), IN_HALF),
        "buyer": broken(asdict(sheet.buyer), IN_HALF),
        "notices": list(sheet.notices),
        "facts": _facts(sheet.facts),
        "exam": _facts(sheet.exam),
        "heads": [words["line"], words["service"], words["quantity"], words["rate"], sheet.net_head],
        "entries": [broken(asdict(one), IN_A_COLUMN) for one in sheet.entries],
        "totals": _facts(sheet.totals),
        "due": asdict(sheet.due),
        "taxes": {
            "title": words["taxes"],
            "heads": [words["category"], words["rate"], words["base"], words["tax"]],
            "rows": [broken(asdict(one), IN_A_COLUMN) for one in sheet.taxes],
        },
        "payment": _facts(sheet.payment),
        "notes": [broken(note, IN_A_LINE) for note in sheet.notes],
        "page": words["page"],
        "replacedWords": words["replaced"],
    }


def _facts(facts: tuple[Fact, ...]) -> list[Json]:
    return [broken(asdict(one), IN_A_LINE) for one in facts]
