"""Rows of a price list as text, every column that is not named left empty or as most rows have it."""

import csv
import io

from service.catalogue.rows_trade import PriceRow

USUAL = {
    "text": "An invented price",
    "amount": "10.00",
    "currency": "EUR",
    "basis": "net",
    "tax_category": "S",
    "tax_rate": "20",
    "valid_from": "2020-01-01",
    "organization": "*",
    "quantity": "exam",
    "kind": "service",
    "payer": "client",
}


def row(charge: str, **cells: str) -> str:
    """One line of tariff.csv."""
    out = io.StringIO()
    given = {"charge": charge, **USUAL, **cells}
    csv.writer(out, lineterminator="\n").writerow([given.get(column, "") for column in PriceRow.columns()])
    assert not given.keys() - set(PriceRow.columns())
    return out.getvalue()


def tariff(*rows: str) -> str:
    """A whole price list of these lines."""
    return ",".join(PriceRow.columns()) + "\n" + "".join(rows)
