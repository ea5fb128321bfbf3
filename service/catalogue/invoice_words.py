"""The words of a printed invoice by language; a language that is there has every phrase."""

from collections.abc import Mapping

from service.billing.invoice_words import DEFAULT, PLACES
from service.catalogue.report_words import filled
from service.catalogue.rows_invoice import InvoiceWordRow
from service.catalogue.sheets import Sheets

FILE = "invoice-words.csv"


def invoice_words(sheets: Sheets) -> Mapping[str, Mapping[str, str]]:
    """(phrase -> text) by language; a phrase that is missing, unknown or lacks a place is a fault."""
    found: dict[str, dict[str, str]] = {DEFAULT: {}}
    for placed in sheets.read(FILE, InvoiceWordRow):
        row, line = placed.row, placed.line
        if row.phrase not in PLACES:
            sheets.fault(line, f"an invoice says no phrase {row.phrase}")
            continue
        lost = sorted(PLACES[row.phrase] - filled(sheets, line, row.text, allowed=PLACES[row.phrase]))
        if lost:
            sheets.fault(line, f"{row.phrase} must say {', '.join(f'{{{one}}}' for one in lost)}")
        found.setdefault(row.language, {})[row.phrase] = row.text
    there = sheets.pairs(FILE, "language", "phrase")
    for language in found:
        sheets.faults += [
            f"{FILE}:0: {language} has no {phrase}" for phrase in PLACES if (language, phrase) not in there
        ]
    return found
