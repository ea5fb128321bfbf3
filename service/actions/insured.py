"""The cover of an animal and what was invoiced under it before, for whoever works out who pays."""

from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

from service.actions.case import Case
from service.actions.gathering import all_of
from service.actions.ports import House, View, Work
from service.basics.money import Money
from service.billing.authorisation import Authorisation, Insurance
from service.billing.books import COUNTED
from service.billing.exam_facts import ExamFacts
from service.billing.hours import start
from service.billing.invoice import Invoice, tax_groups
from service.billing.practice import Practice
from service.fhir import uris
from service.fhir.reading.coverage import insurance
from service.fhir.reading.invoice import read_invoice

Json = dict[str, Any]


def insurance_of(house: House, view: View, case: Case, *, started: str) -> tuple[Json, Insurance]:
    """(a Reference to the insurer or {}, what is known of the cover) on the practice's day of the exam."""
    covers = all_of(house, view, "Coverage", beneficiary=f"Patient/{case.exam.animal}")
    meant = [str(one.get("reference", "")) for one in case.request.get("insurance", [])]
    named = [one.removeprefix(f"{house.base}/").partition("/_history/")[0] for one in meant]
    day = start(case.practice, started).day
    text = day.isoformat() if day else started[:10]
    return insurance(covers, [n for n in named if n.startswith("Coverage/")], day=text, currencies=_known(house, case))


def with_spent(house: House, work: Work, facts: ExamFacts, *, animal: str, practice: Practice) -> ExamFacts:
    """The facts with what invoices and credits under each authorisation come to.

    Whoever issues an invoice of the organisation is waited for, so that two exams never spend one amount twice."""
    held = facts.insurance.authorisations
    if not any(one.held for one in held):
        return facts
    work.hold_invoice_numbers(work.now.astimezone(ZoneInfo(practice.zone)).year)
    papers = all_of(house, work, "Invoice", subject=f"Patient/{animal}", recipient=facts.insurer)
    counted = [one for one in papers if one.get("status") in COUNTED and _ours(one)]
    spent = tuple(_spent(house, one, counted) for one in held)
    return replace(facts, insurance=replace(facts.insurance, authorisations=spent))


def _ours(paper: Json) -> bool:
    """Whether the service issued it; what somebody else has stored bears no authorisation of ours."""
    return any(str(one.get("system", "")).startswith(uris.INVOICE_NUMBER) for one in paper.get("identifier", []))


def _spent(house: House, held: Authorisation, papers: list[Json]) -> Authorisation:
    if held.held is None:
        return held
    read = (read_invoice(paper, house.catalogues.current.currencies) for paper in papers)
    found = [_under(one, held.number) for one in read if one.net.currency == held.held.currency]
    return replace(held, spent=Money(sum(found), held.held.currency))


def _under(invoice: Invoice, number: str) -> int:
    """What an invoice or credit comes to under one authorisation, in minor units, tax included."""
    lines = [line for line in invoice.lines if line.authorisation == number]
    if len(lines) == len(invoice.lines):
        return invoice.gross.minor
    return sum(group.base.minor + group.tax.minor for group in tax_groups(lines, invoice.rounding))


def _known(house: House, case: Case) -> dict[str, Any]:
    own = case.practice.currency
    return {**house.catalogues.current.currencies, own.code: own}
