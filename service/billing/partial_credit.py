"""A part of an issued invoice, by line and quantity or amount, into the credit that takes it back."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from service.basics.errors import Fault
from service.basics.money import Money
from service.billing.amounts import cash, share, split, times
from service.billing.credit import Paper, back, credit, group_left, left, on_paper, turned
from service.billing.invoice import Invoice, Line, TaxGroup, add


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be taken back of one line: so many, or so much (in the line's basis: with tax where it shows tax)."""

    line: int
    quantity: Decimal | None = None
    amount: Money | None = None


def partial(invoice: Invoice, earlier: Sequence[Invoice], wanted: Sequence[Wanted], paper: Paper) -> Invoice | None:
    """A credit of what is wanted (`faults` must have found nothing); the whole rest when that is all there is left."""
    rest = {line.sequence: line for line in left(invoice, earlier)}
    whole = {line.sequence: line for line in invoice.lines}
    taken = [_part(whole[w.line], rest[w.line], w, invoice) for w in wanted]
    if all(_same(line, rest[line.sequence]) for line in taken) and _covers(taken, rest.values()):
        return credit(invoice, earlier, id_=paper.id, number=paper.number, issued=paper.issued)
    groups = tuple(_group_part(group, taken, earlier, invoice) for group in invoice.groups if _has(group, taken))
    gross = add([*(line.net for line in taken), *(g.tax for g in groups)])
    rounding = -cash(gross, paper.cash_step) if invoice.cash is not None else None
    lines = tuple(turned(line) for line in taken)
    return on_paper(invoice, paper, lines, tuple(back(g) for g in groups), rounding=rounding)


def faults(invoice: Invoice, earlier: Sequence[Invoice], wanted: Sequence[Wanted]) -> list[Fault]:
    """Everything that keeps the wanted parts from being taken back."""
    rest = {line.sequence: line for line in left(invoice, earlier)}
    found: list[Fault] = []
    for index, one in enumerate(wanted):
        text = _refused(one, rest, again=one.line in [w.line for w in wanted[:index]])
        if text:
            found.append(Fault("value", text, f"Parameters.parameter.where(name='line')[{index}]"))
    return found


def _refused(one: Wanted, rest: dict[int, Line], *, again: bool) -> str:
    line = rest.get(one.line)
    if line is None or again:
        return f"Line {one.line} is named twice." if again else f"The invoice has no line {one.line}."
    if (one.quantity is None) == (one.amount is None):
        return f"Say of line {one.line} either a quantity or an amount."
    if one.quantity is not None and not 0 < one.quantity <= line.quantity:
        return f"Of line {one.line} {line.quantity:f} is left; {one.quantity:f} cannot be taken back."
    if one.amount is None:
        return ""
    if one.amount.currency != line.net.currency:
        return f"The invoice is in {line.net.currency.code}, not in {one.amount.currency.code}."
    if not 0 < one.amount.minor <= line.shown.minor:
        there, asked = line.shown.decimal(), one.amount.decimal()
        return f"Of line {one.line} {there:f} {line.net.currency.code} is left; {asked:f} cannot be taken back."
    return ""


def _part(whole: Line, rest: Line, wanted: Wanted, invoice: Invoice) -> Line:
    """The part of a line that is taken back, never more than what is left of any of its amounts."""
    if wanted.quantity == rest.quantity or (wanted.amount is not None and wanted.amount == rest.shown):
        return rest
    if wanted.quantity is not None:
        ratio = wanted.quantity / whole.quantity
        shown = _least(times(whole.shown, ratio), rest.shown)
        off = (
            _nearest(times(whole.discount, ratio), rest.discount)
            if whole.discount is not None and rest.discount is not None
            else None
        )
    else:
        shown = wanted.amount or Money(0, rest.net.currency)
        off = Money(0, shown.currency) if whole.discount is not None else None
    net, tax = _parted(shown, rest, invoice)
    return replace(rest, quantity=wanted.quantity or Decimal(0), net=net, tax=tax, discount=off)


def _parted(shown: Money, rest: Line, invoice: Invoice) -> tuple[Money, Money | None]:
    if rest.tax is None:
        return shown, None
    if rest.basis != "gross":
        return shown, _least(share(shown, rest.rate.rate), rest.tax)
    net, _ = split(shown, rate=rest.rate.rate, how=invoice.gross_rounding)
    net = _least(net, rest.net)
    over = shown + -net + -rest.tax
    if over.minor > 0:  # no more tax than is left
        net = net + over
    return net, shown + -net


def _group_part(group: TaxGroup, taken: Sequence[Line], earlier: Sequence[Invoice], invoice: Invoice) -> TaxGroup:
    rest = group_left(group, earlier)
    lines = [line for line in taken if line.rate == group.rate]
    base = add(line.net for line in lines)
    own = [line.tax for line in lines if line.tax is not None]
    open_ = sum((line.net for line in lines if line.tax is None), start=Money(0, base.currency))
    tax = add([share(open_, group.rate.rate), *own])
    return TaxGroup(group.rate, base, rest.tax if base == rest.base else _least(tax, rest.tax))


def _has(group: TaxGroup, taken: Sequence[Line]) -> bool:
    return any(line.rate == group.rate for line in taken)


def _covers(taken: Sequence[Line], rest: Iterable[Line]) -> bool:
    named = {line.sequence for line in taken}
    return all(line.sequence in named or not (line.quantity or line.net.minor) for line in rest)


def _same(part: Line, rest: Line) -> bool:
    return (part.quantity, part.net) == (rest.quantity, rest.net)


def _least(amount: Money, most: Money) -> Money:
    return amount if amount.minor <= most.minor else most


def _nearest(discount: Money, most: Money) -> Money:
    """Discounts are negative: never more is taken back than was given."""
    return discount if discount.minor >= most.minor else most
