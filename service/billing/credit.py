"""An issued invoice and its earlier credits into the credit that brings it to zero."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from service.basics.money import Money
from service.billing.invoice import Invoice, Line, TaxGroup, add


def credit(invoice: Invoice, earlier: Sequence[Invoice], *, id_: str, number: str, issued: str) -> Invoice | None:
    """The invoice less its earlier credits, with every sign turned; None when nothing is left to take back.

    The amounts are taken from the invoice, not computed again, so the sum is zero in every component."""
    left = [_left(line, earlier) for line in invoice.lines]
    lines = tuple(
        replace(line, sequence=n) for n, line in enumerate((x for x in left if x.quantity or x.net.minor), start=1)
    )
    if not lines:
        return None
    rates = {line.tax_rate for line in lines}
    groups = [_group_left(group, earlier) for group in invoice.groups]
    return replace(
        invoice,
        id=id_,
        number=number,
        issued=issued,
        lines=lines,
        groups=tuple(g for g in groups if g.rate in rates or g.base.minor or g.tax.minor),
        seller=replace(invoice.seller, terms=""),  # nobody has a credit to pay
        credits=invoice.id,
        credited_number=invoice.number,
    )


def _left(line: Line, earlier: Sequence[Invoice]) -> Line:
    taken = [back for one in earlier for back in one.lines if back.credits == line.sequence]
    tax = add([line.tax, *(t.tax for t in taken if t.tax is not None)]) if line.tax is not None else None
    return replace(
        line,
        quantity=-sum((t.quantity for t in taken), start=Decimal(line.quantity)),
        net=-add([line.net, *(t.net for t in taken)]),
        tax=-tax if tax is not None else None,
        credits=line.sequence,
    )


def _group_left(group: TaxGroup, earlier: Sequence[Invoice]) -> TaxGroup:
    taken = [g for one in earlier for g in one.groups if g.rate == group.rate]
    base: Money = add([group.base, *(g.base for g in taken)])
    return TaxGroup(group.rate, -base, -add([group.tax, *(g.tax for g in taken)]))
