"""An Invoice of the billing room into the words and tables a person reads: XHTML without anything active."""

from collections.abc import Iterator, Sequence
from html import escape

from service.basics.money import Money
from service.billing.amounts import TAX_FIRST
from service.billing.invoice import Invoice, Line
from service.billing.tariff import Tax
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
    sign = -1 if value.credits else 1
    rows = [row for line in value.lines for row in _rows(line, sign=sign)]
    shown = [("Net", value.net)]
    shown += [(f"Tax {_rate(g.rate)} of {amount(g.base, value)}", g.tax) for g in value.groups]
    shown += [("Total", value.gross)]
    if value.cash is not None:
        shown += [("Rounding to coins", value.cash), ("Credited" if value.credits else "To pay", value.due)]
    totals = "".join(f'<tr><td colspan="4">{name}</td><td>{amount(sum_, value)}</td></tr>' for name, sum_ in shown)
    return f"<table>{head}{''.join(rows)}{totals}</table><p>{_method(value)}</p>"


def _method(value: Invoice) -> str:
    method = f"Tax is rounded half up {'per line' if value.rounding == 'line' else 'per tax rate'}."
    if all(line.basis == "net" for line in value.lines):
        return method
    part = "tax" if value.gross_rounding == TAX_FIRST else "net"
    return f"{method} Of prices that include tax, {part} is rounded first, line by line."


def _rows(line: Line, *, sign: int) -> Iterator[str]:
    name = escape(line.text) + (" (outside fee)" if line.outside else "")
    if line.surcharge is not None and line.surcharge_base is not None:
        base = line.surcharge_base
        name += f", {line.surcharge:f} % of {base.decimal():f} {base.currency.code}"
    quantity = f"{line.quantity * sign:f}" if line.quantity else ""
    yield _row([str(line.sequence), name, quantity, _rate(line.rate), _signed(line.base, sign)])
    if line.discount is not None and line.discount.minor:
        name = f"Discount: {escape(line.discount_reason)}"
        yield _row(["", name, "", _rate(line.rate), _signed(line.discount, sign)])


def _row(cells: Sequence[str]) -> str:
    return "<tr>" + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>"


def _signed(sum_: Money, sign: int) -> str:
    shown = sum_ if sign > 0 else -sum_
    return f"{shown.decimal():f} {shown.currency.code}"


def _rate(tax: Tax) -> str:
    return f"{tax.rate:f} %" + (f" ({escape(tax.reason)})" if tax.reason else "")


def amount(sum_: Money, value: Invoice) -> str:
    """An amount with its currency as printed: on a credit note the sign is turned."""
    shown = -sum_ if value.credits else sum_
    return f"{shown.decimal():f} {shown.currency.code}"
