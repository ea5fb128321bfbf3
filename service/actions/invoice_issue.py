"""Priced lines into the one Invoice of an exam, numbered and final, or the reason why there is none yet."""

from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from service.actions.exam_charges import Ledger
from service.actions.periods import check_open
from service.actions.ports import House, Work
from service.basics.ids import new_id
from service.basics.stored import Exam
from service.billing.exam_facts import ExamFacts
from service.billing.hours import start
from service.billing.invoice import Invoice, Line, Payer, Performed, tax_groups
from service.billing.practice import BillingProfile, Practice
from service.billing.pricing import Priced
from service.catalogue.catalogue import Catalogue
from service.fhir.writing import invoice as writing

Json = dict[str, Any]
PAYERS = ("RelatedPerson/", "Organization/", "Patient/")  # R4: who can be Invoice.recipient
PAYMENT_CAUTION = "C18"  # care does not depend on payment


def issue(
    house: House,
    work: Work,
    *,
    bill: Priced,
    ledger: Ledger,
    facts: ExamFacts,
    practice: Practice,
    exam: Exam,
) -> tuple[Json | None, Mapping[str, str]]:
    """The issued invoice of all priced lines, whose charges become billed; and why each other charge waits, by id."""
    waiting = dict(bill.unpriced)
    invoice = None
    if bill.lines:
        why = _hindrance(facts, practice)
        if practice.profile is not None and not why:
            value = _invoice(work, bill.lines, seller=practice.profile, facts=facts, practice=practice, exam=exam)
            notes = cautions(house.catalogues.current)
            invoice = writing.invoice(value, organization=work.organization, notes=notes)
        else:
            waiting.update({line.charge: why for line in bill.lines})
    for charge in ledger.charges:
        if charge.id in waiting:
            ledger.remark(charge, f"Not invoiced. {waiting[charge.id]}")
        elif invoice is not None and charge.status == "billable":
            ledger.move(charge, "bill")
    return invoice, waiting


def numbered(work: Work, practice: Practice) -> tuple[str, str]:
    """The next number of the organisation's series, "<year>-<six digits>", and the moment of issue.

    Both are of the practice's own zone, so that the year of the number is the year of the printed date. Raises Conflict
    when the books of that month are closed."""
    local = work.now.astimezone(ZoneInfo(practice.zone))
    issued = local.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    number = work.next_invoice_number(local.year)
    check_open(work, f"{local:%Y-%m}")
    return f"{local.year}-{number:06d}", issued


def cautions(current: Catalogue) -> tuple[str, ...]:
    """What each invoice says besides money."""
    return tuple(c.text for c in current.cautions if c.id == PAYMENT_CAUTION)


def _hindrance(facts: ExamFacts, practice: Practice) -> str:
    found = []
    if practice.profile is None:
        found.append("The practice has no billing profile yet.")
    if not facts.owner.startswith(PAYERS):
        found.append("It is not clear who pays: the animal has not exactly one owner on record.")
    return " ".join(found)


def _invoice(
    work: Work,
    lines: tuple[Line, ...],
    *,
    seller: BillingProfile,
    facts: ExamFacts,
    practice: Practice,
    exam: Exam,
) -> Invoice:
    number, issued = numbered(work, practice)
    day = start(practice, facts.started).day
    return Invoice(
        id=new_id(),
        number=number,
        issued=issued,
        seller=seller,
        payer=Payer(facts.owner, facts.owner_name),
        performed=Performed(
            exam=exam.id,
            animal=exam.animal,
            animal_name=facts.animal_name,
            day=day.isoformat() if day is not None else "",
            performer=facts.performer_name or facts.performer,
        ),
        rounding=practice.tax_rounding,
        lines=lines,
        groups=tax_groups(lines, practice.tax_rounding),
    )
