"""An Invoice of the billing room into the words and tables a person reads: XHTML without anything active."""

from collections.abc import Sequence
from html import escape

from service.basics.money import Money
from service.billing.invoice import Invoice, Line
from service.fhir import uris


def narrative(value: Invoice, *, notes: Sequence[str] = ()) -> str:
    """The whole invoice as one XHTML div. A credit is printed as a credit note with positive amounts."""
    title = "Credit note" if value.credits else "Invoice"
    parts = [
        f"<h1>{title} {escape(value.number)}</h1>",
        *_facts(value),
        _table(value),
        *(f"<p>{escape(text)}</p>" for text in notes),
    ]
    return f'<div xmlns="{uris.XHTML}">{"".join(parts)}</div>'


def _facts(value: Invoice) -> list[str]:
    seller, exam = value.seller, value.performed
    facts = [
        ("Seller", f"{seller.legal_name}, {seller.address}"),
        ("Tax number", seller.tax_number),
        ("To", value.payer.name or value.payer.reference),
        ("Date", value.issued[:10]),
        ("Credits invoice", value.credited_number),
        ("Animal", exam.animal_name),
        ("Examined", exam.day),
        ("Performed by", exam.performer),
        ("Exam", exam.exam),
        ("Terms", "" if value.credits else seller.terms),
        ("Bank", "" if value.credits else seller.bank),
    ]
    return [f"<p>{name}: {escape(text)}</p>" for name, text in facts if text]


def _table(value: Invoice) -> str:
    head = "<tr><th>Line</th><th>Service</th><th>Quantity</th><th>Tax rate</th><th>Net</th></tr>"
    rows = [_row(line, sign=-1 if value.credits else 1) for line in value.lines]
    shown = [("Net", value.net)]
    shown += [(f"Tax {g.rate:f} % of {amount(g.base, value)}", g.tax) for g in value.groups]
    shown += [("Total", value.gross)]
    totals = "".join(f'<tr><td colspan="4">{name}</td><td>{amount(sum_, value)}</td></tr>' for name, sum_ in shown)
    method = "per line" if value.rounding == "line" else "per tax rate"
    return f"<table>{head}{''.join(rows)}{totals}</table><p>Tax is rounded half up {method}.</p>"


def _row(line: Line, *, sign: int) -> str:
    net = line.net if sign > 0 else -line.net
    cells = [
        str(line.sequence),
        escape(line.text),
        f"{line.quantity * sign:f}",
        f"{line.tax_rate:f} %",
        f"{net.decimal():f} {net.currency.code}",
    ]
    return "<tr>" + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>"


def amount(sum_: Money, value: Invoice) -> str:
    """An amount with its currency as printed: on a credit note the sign is turned."""
    shown = -sum_ if value.credits else sum_
    return f"{shown.decimal():f} {shown.currency.code}"
