"""The ChargeItems of one exam, as one action moves them: what is there, what is new, what changes."""

from collections.abc import Iterable
from typing import Any

from service.actions.gathering import all_of, stored_of
from service.actions.ports import House, View, Work
from service.basics.errors import Conflict, Fault
from service.basics.ids import new_id
from service.basics.stored import Exam, Stored
from service.billing.charge import OPEN, Charge, Identity, move, next_correction
from service.billing.exam_facts import ExamFacts
from service.billing.invoice import Invoice
from service.billing.situation import Situation
from service.fhir import exact, uris
from service.fhir.reading.charge import read_charge
from service.fhir.reading.invoice import read_invoice
from service.fhir.writing import charge as writing

Json = dict[str, Any]
TOGETHER = 20  # charges that one search asks for
ENDED = frozenset({"aborted", "entered-in-error"})


class Ledger:
    """All charges of an exam while its lock is held. Nothing is stored here: `new` and `changed` are for the caller."""

    def __init__(self, work: Work, exam: Exam) -> None:
        self._work, self._exam, self._now = work, exam, exact.instant(work.now)
        self._items: dict[str, Json] = {}
        self._before: dict[str, Stored] = {}
        self._touched: dict[str, None] = {}  # a set that keeps its order

    @property
    def charges(self) -> list[Charge]:
        """The charges as they stand now, oldest first."""
        return [charge for item in self._items.values() if (charge := read_charge(item)) is not None]

    @property
    def new(self) -> list[Json]:
        """The ChargeItems that did not exist before."""
        return [item for id_, item in self._items.items() if id_ not in self._before]

    @property
    def changed(self) -> list[tuple[Json, Stored]]:
        """The ChargeItems that were moved, each with the version it replaces."""
        return [(self._items[id_], self._before[id_]) for id_ in self._touched if id_ in self._before]

    def know(self, stored: Stored) -> None:
        """Take in a ChargeItem that is stored."""
        item = exact.decode(stored.body)
        if read_charge(item) is not None:
            self._items[stored.id], self._before[stored.id] = item, stored

    def add(
        self, code: str, text: str, *, organization: str, requester: str = "", visit: str = "", quantity: int = 1
    ) -> Charge | None:
        """A new planned charge; Conflict when its identity is already another ChargeItem's.

        With visit (id of an Encounter) it is charged once for all exams of the visit: None when another exam has it."""
        number = next_correction(self.charges, code)
        id_ = new_id()
        while True:
            charge = Charge(
                id_, Identity(visit or self._exam.order, code, organization, number), text, "planned", quantity
            )
            holder = self._work.claim("ChargeItem", f"identifier={uris.CHARGE_ID}|{charge.identity.text}", id_)
            if holder in (None, id_):
                break
            if not visit:
                words = f"The charge {charge.identity.text} exists already; nothing is charged twice."
                raise Conflict(Fault("duplicate", words, "ChargeItem.identifier"))
            if not self._ended(str(holder)):
                return None
            number += 1
        self._items[id_] = writing.charge_item(
            charge,
            exam=self._exam.id,
            procedure=self._exam.procedure,
            animal=self._exam.animal,
            now=self._now,
            requester=requester,
        )
        return charge

    def _ended(self, id_: str) -> bool:
        """Whether a charge, of whichever exam, was reversed or never came about."""
        stored = self._work.get("ChargeItem", id_)
        charge = read_charge(exact.decode(stored.body)) if stored and not stored.deleted else None
        return charge is None or charge.status in ENDED

    def open(self, code: str) -> Charge | None:
        """The charge of this code that is neither billed nor ended."""
        return next((c for c in self.charges if c.identity.code == code and c.status in OPEN), None)

    def billed(self, code: str) -> bool:
        """Whether a charge of this code stands on an invoice that was not credited."""
        return any(c.identity.code == code and c.status == "billed" for c in self.charges)

    def reversed(self, code: str) -> bool:
        """Whether the last charge of this code was taken back."""
        known = [c for c in self.charges if c.identity.code == code]
        return bool(known) and max(known, key=lambda c: c.identity.correction).status == "entered-in-error"

    def move(self, charge: Charge, verb: str, *, why: str = "") -> None:
        """Move a charge by a verb of billing.charge.MOVES, with the reason among its notes."""
        item = self._items[charge.id]
        self._put(charge.id, writing.moved(item, move(item["status"], verb), now=self._now, why=why))

    def remark(self, charge: Charge, why: str) -> None:
        """Note on a charge why it stays as it is."""
        item = self._items[charge.id]
        self._put(charge.id, writing.moved(item, item["status"], now=self._now, why=why))

    def perform(self, charge: Charge, facts: ExamFacts, situation: Situation, *, quantity: int = 1) -> None:
        """Make a planned charge billable, with when, by whom, how often, and what its price depends on."""
        self.move(charge, "perform")
        item = writing.performed(self._items[charge.id], facts, situation)
        self._put(charge.id, {**item, "quantity": {"value": quantity}})

    def _put(self, id_: str, item: Json) -> None:
        self._items[id_] = item
        self._touched[id_] = None


def open_ledger(house: House, work: Work, exam: Exam) -> Ledger:
    """The ledger with all of the exam's ChargeItems, found by the Procedure they charge for."""
    ledger = Ledger(work, exam)
    found = stored_of(house, work, "ChargeItem", service=f"Procedure/{exam.procedure}")
    for stored in sorted(found, key=lambda s: s.id):  # our ids rise with time
        ledger.know(stored)
    return ledger


def invoices_of(house: House, work: View, charges: Iterable[Charge]) -> tuple[list[Invoice], dict[str, list[Invoice]]]:
    """The invoices that bill these charges, oldest first, and the credits of each by its id."""
    ids = [f"ChargeItem/{charge.id}" for charge in charges]
    found: dict[str, Invoice] = {}
    for start in range(0, len(ids), TOGETHER):
        for resource in all_of(house, work, "Invoice", charge_item=",".join(ids[start : start + TOGETHER])):
            found[resource["id"]] = read_invoice(resource, house.catalogues.current.currencies)
    papers = sorted(found.values(), key=lambda one: one.id)
    credits: dict[str, list[Invoice]] = {}
    for one in papers:
        if one.credits:
            credits.setdefault(one.credits, []).append(one)
    return [one for one in papers if not one.credits], credits
