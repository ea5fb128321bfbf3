"""An issued invoice and its earlier credits into the credit that brings it to zero."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from service.basics.money import Money
from service.billing.invoice import Invoice, Line, TaxGroup, add

Groups = tuple[TaxGroup, ...]


@dataclass(frozen=True, slots=True)
class Paper:
    """What a credit is called: its id, its number and the moment of its issue; cash_step: coins it is rounded to."""

    id: str = ""
    number: str = ""
    issued: str = ""
    cash_step: int = 0


def credit(invoice: Invoice, earlier: Sequence[Invoice], *, id_: str, number: str, issued: str) -> Invoice | None:
    """The invoice less its earlier credits, with every sign turned; None when nothing is left to take back.

    The amounts are taken from the invoice, not computed again, so the sum is zero in every component."""
    lines = tuple(turned(line) for line in left(invoice, earlier) if line.quantity or line.net.minor)
    if not lines:
        return None
    rates = {line.rate for line in lines}
    groups = [back(group_left(group, earlier)) for group in invoice.groups]
    kept = tuple(g for g in groups if g.rate in rates or g.base.minor or g.tax.minor)
    taken = [one.cash for one in (invoice, *earlier) if one.cash is not None]
    rounding = -add(taken) if taken else None
    return on_paper(invoice, Paper(id_, number, issued), lines, kept, rounding=rounding)


def left(invoice: Invoice, earlier: Iterable[Invoice]) -> list[Line]:
    """Each line of the invoice with what no earlier credit has taken back, in its own (positive) signs."""
    papers = list(earlier)
    return [_left(line, papers) for line in invoice.lines]


def on_paper(
    invoice: Invoice, paper: Paper, lines: tuple[Line, ...], groups: Groups, *, rounding: Money | None
) -> Invoice:
    """The credit of an invoice with these lines, numbered anew, and groups, all with their signs turned already."""
    return replace(
        invoice,
        id=paper.id,
        number=paper.number,
        issued=paper.issued,
        lines=tuple(replace(line, sequence=n) for n, line in enumerate(lines, start=1)),
        groups=groups,
        seller=replace(invoice.seller, terms=""),  # nobody has a credit to pay
        credits=invoice.id,
        credited_number=invoice.number,
        cash=rounding,
    )


def _left(line: Line, earlier: Sequence[Invoice]) -> Line:
    taken = [t for one in earlier for t in one.lines if t.credits == line.sequence]
    tax = add([line.tax, *(t.tax for t in taken if t.tax is not None)]) if line.tax is not None else None
    off = [t.discount for t in taken if t.discount is not None]
    return replace(
        line,
        quantity=sum((t.quantity for t in taken), start=Decimal(line.quantity)),
        net=add([line.net, *(t.net for t in taken)]),
        tax=tax,
        discount=add([line.discount, *off]) if line.discount is not None else None,
    )


def turned(line: Line) -> Line:
    """A line with what is left of it as the line that takes it back."""
    return replace(
        line,
        quantity=-line.quantity,
        net=-line.net,
        tax=-line.tax if line.tax is not None else None,
        discount=-line.discount if line.discount is not None else None,
        credits=line.sequence,
    )


def group_left(group: TaxGroup, earlier: Iterable[Invoice]) -> TaxGroup:
    """A tax group less what earlier credits have taken back of it."""
    taken = [g for one in earlier for g in one.groups if g.rate == group.rate]
    return TaxGroup(group.rate, add([group.base, *(g.base for g in taken)]), add([group.tax, *(g.tax for g in taken)]))


def back(group: TaxGroup) -> TaxGroup:
    """A tax group with its signs turned."""
    return TaxGroup(group.rate, -group.base, -group.tax)
