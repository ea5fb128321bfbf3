"""A finished exam whose report was amended into what its records now show otherwise than was charged."""

from collections.abc import Iterable

from service.actions import exam_payable
from service.actions.case import Case, open_case
from service.actions.closing import Closed
from service.actions.done_besides import PROCEDURES
from service.actions.ports import Caller, House, View
from service.actions.practices import catalogue_of
from service.actions.reporting import seen
from service.actions.writing import decoded
from service.basics.stored import Exam
from service.billing.exceptions import ChargeSeen, unlike
from service.billing.triggers import charged
from service.fhir.reading.report import read_report
from service.fhir.writing.report import Party

RECORDED = frozenset({"doppler", "sedation", *PROCEDURES.values()})  # what an Observation can take back


def unlike_charges(house: House, view: View, exam: Exam, charges: Iterable[ChargeSeen]) -> tuple[str, ...]:
    """In words, what was charged otherwise; nothing for an exam whose report stands as it was signed."""
    if exam.state != "finished" or not exam.invoice or not _amended(view, exam):
        return ()
    case = open_case(house, view, Caller(view.organization, "practice", (), "clock"), exam)
    return tuple(_unlike(house, view, case, charges))


def _amended(view: View, exam: Exam) -> bool:
    stored = view.get("DiagnosticReport", exam.report) if exam.report else None
    return stored is not None and not stored.deleted and read_report(decoded(stored)).number > 1


def _unlike(house: House, view: View, case: Case, charges: Iterable[ChargeSeen]) -> list[str]:
    facts = exam_payable.facts(
        house, view, case, seen(case), started=case.exam.started, signer=Party(), closed=Closed()
    )  # fmt: skip
    current = catalogue_of(house, view)
    can = [row for row in current.triggers if row.trigger in RECORDED]
    found = charged(can, facts.shown, current.prices, organization=view.organization)
    shown = {row.charge: (row.text, one.times) for row, one in found}
    return unlike(charges, shown, [row.charge for row in can])
