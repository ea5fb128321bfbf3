"""Turns rows about exceptions of billing into their rules."""

from service.billing.exceptions import KINDS, ExceptionRule
from service.catalogue.rows_exceptions import ExceptionRow
from service.catalogue.sheets import Sheets


def exceptions(sheets: Sheets) -> dict[str, ExceptionRule]:
    """By kind; every kind has exactly one row."""
    found: dict[str, ExceptionRule] = {}
    for placed in sheets.read("billing-exceptions.csv", ExceptionRow):
        row = placed.row
        if row.exception not in KINDS:
            sheets.fault(placed.line, f'exception "{row.exception}" is none that can be found')
        found[row.exception] = ExceptionRule(row.exception, row.title, row.advice, row.minutes)
    missing = [kind for kind in KINDS if kind not in sheets.known("billing-exceptions.csv", "exception")]
    sheets.faults += [f"billing-exceptions.csv:0: {kind} has no row" for kind in missing]
    return found
