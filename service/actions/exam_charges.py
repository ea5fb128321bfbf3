"""The ChargeItems of one exam, as one action moves them: what is there, what is new, what changes."""

from typing import Any

from service.actions.gathering import stored_of
from service.actions.ports import House, Work
from service.basics.errors import Conflict, Fault
from service.basics.ids import new_id
from service.basics.stored import Exam, Stored
from service.billing.charge import OPEN, Charge, Identity, move, next_correction
from service.billing.exam_facts import ExamFacts
from service.fhir import exact, uris
from service.fhir.reading.charge import read_charge
from service.fhir.writing import charge as writing

Json = dict[str, Any]


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

    def add(self, code: str, text: str, *, organization: str, requester: str = "") -> Charge:
        """A new planned charge; Conflict when its identity is already another ChargeItem's."""
        number = next_correction(self.charges, code)
        charge = Charge(new_id(), Identity(self._exam.order, code, organization, number), text, "planned")
        criteria = f"identifier={uris.CHARGE_ID}|{charge.identity.text}"
        if self._work.claim("ChargeItem", criteria, charge.id) not in (None, charge.id):
            text = f"The charge {charge.identity.text} exists already; nothing is charged twice."
            raise Conflict(Fault("duplicate", text, "ChargeItem.identifier"))
        self._items[charge.id] = writing.charge_item(
            charge,
            exam=self._exam.id,
            procedure=self._exam.procedure,
            animal=self._exam.animal,
            now=self._now,
            requester=requester,
        )
        return charge

    def open(self, code: str) -> Charge | None:
        """The charge of this code that is neither billed nor ended."""
        return next((c for c in self.charges if c.identity.code == code and c.status in OPEN), None)

    def billed(self, code: str) -> bool:
        """Whether a charge of this code stands on an invoice that was not credited."""
        return any(c.identity.code == code and c.status == "billed" for c in self.charges)

    def move(self, charge: Charge, verb: str, *, why: str = "") -> None:
        """Move a charge by a verb of billing.charge.MOVES, with the reason among its notes."""
        item = self._items[charge.id]
        self._put(charge.id, writing.moved(item, move(item["status"], verb), now=self._now, why=why))

    def remark(self, charge: Charge, why: str) -> None:
        """Note on a charge why it stays as it is."""
        item = self._items[charge.id]
        self._put(charge.id, writing.moved(item, item["status"], now=self._now, why=why))

    def perform(self, charge: Charge, facts: ExamFacts) -> None:
        """Make a planned charge billable, with when and by whom."""
        self.move(charge, "perform")
        self._put(charge.id, writing.performed(self._items[charge.id], facts))

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
