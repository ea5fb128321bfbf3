"""What an exam shows into its charges: its exam line, what was done besides, and a direct claim."""

from dataclasses import dataclass
from datetime import date

from service.actions.exam_charges import Ledger
from service.actions.exam_situation import seen_of
from service.billing.charge import Charge, Cut
from service.billing.exam_facts import ExamFacts, Shown
from service.billing.hours import Start
from service.billing.payers import INSURER, bills
from service.billing.practice import Practice
from service.billing.pricing import Priced
from service.billing.situation import Situation
from service.billing.tariff import Price, per_visit
from service.billing.triggers import charged
from service.catalogue.catalogue import Catalogue
from service.exam.rules import Service


@dataclass(frozen=True, slots=True)
class Charging:
    """The charges together with what the exam showed and the price list in force."""

    ledger: Ledger
    facts: ExamFacts
    at: Situation
    day: date | None
    prices: tuple[Price, ...]
    organization: str
    again: bool

    def charge(self, code: str, text: str, *, waived: str = "", note: str = "", times: int = 1) -> None:
        """One performed service as a billable charge, or as one not billed for the reason `waived`."""
        if self.ledger.billed(code) or (self.ledger.reversed(code) and not self.again):
            return
        charge = self.ledger.open(code) or self._new(code, text, times)
        if charge is None:
            return  # another exam of the same visit bears it
        if waived and charge.status != "not-billable":
            self.ledger.move(charge, "waive", why=waived)
        elif charge.status == "planned":
            self.ledger.perform(charge, self.facts, self.at, quantity=times)
        if note:
            self.ledger.remark(charge, note)

    def _new(self, code: str, text: str, times: int) -> Charge | None:
        visit = self.facts.visit
        shared = visit and per_visit(self.prices, code, organization=self.organization, on=self.day)
        return self.ledger.add(
            code, text, organization=self.organization, visit=visit if shared else "", quantity=times
        )  # fmt: skip


def charge_exam_line(shown: Charging, cut: Cut, service: Service, catalogue: Catalogue) -> None:
    """The exam's own line: the service that was ordered, or the one that is charged in its place, with why."""
    if cut.code == service.charge:
        shown.charge(service.charge, service.title)
    elif not cut.code:
        shown.charge(service.charge, service.title, waived=cut.why)
    elif not shown.ledger.billed(service.charge):
        ordered = shown.ledger.open(service.charge)
        if ordered is not None:
            shown.ledger.move(ordered, "waive" if ordered.status == "billable" else "abort", why=cut.why)
        title = next((s.title for s in catalogue.services.values() if s.charge == cut.code), cut.code)
        shown.charge(cut.code, title, note=cut.why)


def charge_add_ons(shown: Charging, current: Catalogue, began: Start) -> None:
    """What the exam shows besides, as charges; none of them is billed where the exam itself is not."""
    facts = shown.facts
    waived = "Not charged: the exam itself is not." if facts.price_effect == "none" else ""
    seen = seen_of(facts, shown.at, began)
    for row, one in charged(
        current.triggers, seen, current.prices, organization=shown.organization, on=began.day, at=shown.at
    ):
        shown.charge(row.charge, row.text, waived=waived, note=one.note, times=one.times)


def charge_claim(
    shown: Charging, current: Catalogue, bill: Priced, *, facts: ExamFacts, practice: Practice
) -> bool:  # fmt: skip
    """Whether making a direct claim is charged, for an insurer pays a part of the bill."""
    paying = bills(bill.lines, facts, day=shown.day, rounding=practice.tax_rounding)
    if not any(one.kind == INSURER for one in paying):
        return False
    found = charged(
        current.triggers, [Shown("claim")], current.prices, organization=shown.organization, on=shown.day, at=shown.at
    )
    for row, one in found:
        shown.charge(row.charge, row.text, times=one.times)
    return bool(found)
