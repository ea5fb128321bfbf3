"""Priced lines into the Invoices of an exam, one a payer, numbered and final, or why there is none yet."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

from service.actions.exam_charges import Ledger
from service.actions.payers import addressed, unnumbered
from service.actions.periods import check_open
from service.actions.ports import House, View, Work
from service.actions.practices import catalogue_of
from service.basics.ids import new_id
from service.basics.stored import Exam
from service.billing.amounts import cash
from service.billing.exam_facts import ExamFacts
from service.billing.hours import out_of_hours, start
from service.billing.invoice import Invoice, Performed, tax_groups
from service.billing.invoice_words import Words, spoken
from service.billing.payers import Bill, bills
from service.billing.practice import BillingProfile, Practice
from service.billing.pricing import Priced
from service.fhir.writing import invoice as writing

Json = dict[str, Any]
OWNERLESS = (
    "the animal has not exactly one owner on record, that is an active RelatedPerson with the relationship OWN "
    "of HL7's table 0063"
)
UNASKED = "the order names no organisation that asked for it on record"
PAYERS = ("RelatedPerson/", "Organization/", "Patient/")  # R4: who can be Invoice.recipient


def issue(
    house: House,
    work: Work,
    *,
    bill: Priced,
    ledger: Ledger,
    facts: ExamFacts,
    practice: Practice,
    exam: Exam,
) -> tuple[list[Json], Mapping[str, str]]:
    """An issued invoice for each payer of priced lines, whose charges become billed; why each other charge waits."""
    waiting = dict(bill.unpriced)
    issued: list[Json] = []
    day = start(practice, facts.started).day
    for one in bills(bill.lines, facts, day=day, rounding=practice.tax_rounding):
        to = replace(one, payer=addressed(work, one.payer))
        why = _hindrance(to, facts, practice)
        if practice.profile is None or why:
            waiting.update({line.charge: why for line in to.lines})
            continue
        value = _invoice(work, to, seller=practice.profile, facts=facts, practice=practice, exam=exam)
        words = words_of(house, work, value.language)
        issued.append(writing.invoice(value, organization=work.organization, notes=cautions(words), words=words))
    billed = {line.charge for owed in bill.lines for line in (owed.line,) if line.charge not in waiting}
    for charge in ledger.charges:
        if charge.id in waiting:
            ledger.remark(charge, f"Not invoiced. {waiting[charge.id]}")
        elif charge.id in billed and charge.status == "billable":
            ledger.move(charge, "bill")
    return issued, waiting


def numbered(work: Work, practice: Practice) -> tuple[str, str]:
    """The next number of the organisation's series, "<year>-<six digits>", and the moment of issue.

    Both are of the practice's own zone, so that the year of the number is the year of the printed date. Raises Conflict
    when the books of that month are closed."""
    zone = ZoneInfo(practice.zone)
    work.hold_invoice_numbers(work.now.astimezone(zone).year)  # who waits here is dated after those he waited for
    local = work.moment().astimezone(zone)
    issued = local.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    number = work.next_invoice_number(local.year)
    check_open(work, f"{local:%Y-%m}")
    return f"{local.year}-{number:06d}", issued


def words_of(house: House, view: View, language: str) -> Words:
    """The words that the organisation's invoices have in a language."""
    return spoken(catalogue_of(house, view).invoice_words, language)[1]


def cautions(words: Words) -> tuple[str, ...]:
    """What each invoice says besides money: care does not depend on payment."""
    return (words["care"],)


def _hindrance(bill: Bill, facts: ExamFacts, practice: Practice) -> str:
    payer = bill.payer
    found = [why] if (why := unnumbered(payer, bill.lines)) else []
    if practice.profile is None:
        found.append("The practice has no billing profile yet.")
    if not payer.reference.startswith(PAYERS):
        client = payer.reference == facts.owner
        found.append(f"It is not clear who pays: {OWNERLESS if client else UNASKED}.")
    return " ".join(found)


def _invoice(
    work: Work,
    bill: Bill,
    *,
    seller: BillingProfile,
    facts: ExamFacts,
    practice: Practice,
    exam: Exam,
) -> Invoice:
    number, issued = numbered(work, practice)
    placed = tuple(replace(line, sequence=n) for n, line in enumerate(bill.lines, start=1))
    value = Invoice(
        id=new_id(),
        number=number,
        issued=issued,
        seller=seller,
        payer=bill.payer,
        performed=performed(facts, practice, exam),
        rounding=practice.tax_rounding,
        lines=placed,
        groups=tax_groups(placed, practice.tax_rounding),
        gross_rounding=practice.gross_rounding,
        language=practice.language,
        cover=bill.cover,
    )
    return replace(value, cash=cash(value.gross, practice.cash_step)) if practice.cash_step else value


def performed(facts: ExamFacts, practice: Practice, exam: Exam) -> Performed:
    """What each line says of the exam."""
    began = start(practice, facts.started)
    closed = out_of_hours(practice, began)
    return Performed(
        exam=exam.id,
        animal=exam.animal,
        animal_name=facts.animal_name,
        day=began.day.isoformat() if began.day is not None else "",
        performer=facts.performer_name or facts.performer,
        hours="" if closed is None else "out" if closed else "in",
    )
