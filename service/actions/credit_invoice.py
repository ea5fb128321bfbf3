"""Money taken back: the charges of a withdrawn exam ended, and credits that bring its invoices to zero."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from service.actions.exam_charges import Ledger, invoices_of, open_ledger
from service.actions.invoice_issue import cautions, numbered, words_of
from service.actions.ports import House, Work
from service.basics.ids import new_id
from service.basics.stored import Exam, Stored
from service.billing import credit as crediting
from service.billing.charge import MOVES
from service.billing.credit import Paper
from service.billing.invoice import Invoice
from service.billing.partial_credit import Wanted, partial
from service.billing.practice import Practice
from service.fhir.writing import invoice as writing

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Credited:
    """invoices: the credits to be written as new, none when nothing was invoiced or all was credited before;

    changed: the ChargeItems that are now entered-in-error, each with the version it replaces."""

    invoices: tuple[Json, ...]
    changed: tuple[tuple[Json, Stored], ...]


def credit(house: House, work: Work, *, exam: Exam, practice: Practice, reason: str) -> Credited:
    """End every charge of the exam and credit what is left of its invoices, which themselves stay as they were issued.

    The caller holds the exam's lock and writes what comes back. Again: nothing more happens. reason is kept with
    the charges; the credits say in their own language that the exam was withdrawn."""
    ledger = open_ledger(house, work, exam)
    originals, earlier = invoices_of(house, work, ledger.charges)
    for charge in ledger.charges:
        verb = "credit" if charge.status == "billed" else "withdraw"
        if (charge.status, verb) in MOVES:
            ledger.move(charge, verb, why=reason)
    made = [_whole(house, work, one, earlier.get(one.id, []), practice=practice) for one in originals]
    return Credited(tuple(one for one in made if one), tuple(ledger.changed))


def take_back(
    house: House,
    work: Work,
    *,
    ledger: Ledger,
    invoice: Invoice,
    earlier: Sequence[Invoice],
    wanted: Sequence[Wanted],
    practice: Practice,
    reason: str,
    by: str = "",
) -> Credited:
    """Credit parts of one invoice, or with none wanted what is left of it; a charge of which nothing is left, ends."""
    paper = Paper(new_id(), *numbered(work, practice), cash_step=practice.cash_step)
    if wanted:
        value = partial(invoice, earlier, wanted, paper)
    else:
        value = crediting.credit(invoice, earlier, id_=paper.id, number=paper.number, issued=paper.issued)
    if value is None:
        return Credited((), ())
    rest = crediting.left(invoice, [*earlier, value])
    open_ = {line.charge for line in rest if line.quantity or line.net.minor}
    for charge in ledger.charges:
        if charge.status == "billed" and charge.id in {line.charge for line in rest} - open_:
            ledger.move(charge, "credit", why=reason)
    return Credited((_written(house, work, value, reason, by=by),), tuple(ledger.changed))


def _whole(
    house: House, work: Work, invoice: Invoice, earlier: Sequence[Invoice], *, practice: Practice
) -> Json | None:
    if crediting.credit(invoice, earlier, id_="", number="", issued="") is None:
        return None  # asked first: a number once drawn has to stand on a paper
    number, issued = numbered(work, practice)
    value = crediting.credit(invoice, earlier, id_=new_id(), number=number, issued=issued)
    return _written(house, work, value) if value is not None else None


def _written(house: House, work: Work, value: Invoice, reason: str = "", *, by: str = "") -> Json:
    words = words_of(house, work, value.language)
    notes = (reason or words["withdrawn"], *cautions(words))
    return writing.invoice(value, organization=work.organization, notes=notes, by=by, words=words)
