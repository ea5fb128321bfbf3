"""An exam as it is stored into what a bookkeeper must look at, and a charge that hangs on none."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from service.actions.direct_claims import lacking
from service.actions.estimates import surprising
from service.actions.exam_twins import repeated
from service.actions.gathering import all_of
from service.actions.ports import House, View
from service.actions.practices import catalogue_of
from service.actions.shown_since import unlike_charges
from service.actions.writing import decoded
from service.basics.stored import Exam
from service.billing.exceptions import ChargeSeen, ExamMoney, Found, exceptions, stray
from service.billing.triggers import NO_SHOW
from service.fhir import exact
from service.fhir.reading.billing_exception import charge_seen

Json = dict[str, Any]
MONEYLESS = frozenset({"amended"})  # events of a post that tell no money
LATE_KIND = "unacknowledged"


def late_before(house: House, now: str) -> str:
    """The instant before which a post must have been acknowledged."""
    rule = house.catalogues.current.exceptions[LATE_KIND]
    return exact.instant(datetime.fromisoformat(now) - timedelta(minutes=rule.minutes))


def exceptions_of(house: House, view: View, exam: Exam, *, now: str) -> tuple[Found, ...]:
    """All exceptions of an exam at an instant, from what is stored."""
    items = all_of(house, view, "ChargeItem", service=f"Procedure/{exam.procedure}")
    charges = tuple(map(charge_seen, items))
    late = view.late_posts_of(exam.id, late_before(house, now))
    earlier, covering = repeated(house, view, exam)
    money = ExamMoney(
        exam=exam.id,
        state=exam.state,
        animal=exam.animal,
        invoice=exam.invoice if any(c.status == "billed" for c in charges) else "",
        charges=charges,
        fees=_fees(house, view, exam),
        twins=earlier,
        covering=covering,
        late=tuple(one for one in late if one.event not in MONEYLESS),
        unlike=unlike_charges(house, view, exam, charges),
        billed=_billed(house, view, exam, charges),
    )
    return exceptions(money)


def _fees(house: House, view: View, exam: Exam) -> frozenset[str]:
    """The charges that a cancelled exam may have: what is paid for not coming."""
    if exam.state != "cancelled":
        return frozenset()
    return frozenset(row.charge for row in catalogue_of(house, view).triggers if row.trigger == NO_SHOW)


def _billed(house: House, view: View, exam: Exam, charges: Iterable[ChargeSeen]) -> tuple[Found, ...]:
    stored = view.get("Task", exam.id) if exam.state == "finished" and exam.invoice else None
    if stored is None:
        return ()
    task, waiting = decoded(stored), [one.text for one in charges if one.status == "billable"]
    return (*surprising(house, view, task), *lacking(house, view, exam, task, waiting=waiting))


def stray_charge(house: House, view: View, item: Json) -> Found | None:
    """The exception of a charge that hangs on no exam; None when it hangs on one, or has ended."""
    return None if exam_charged(house, view, item) else stray(charge_seen(item))


def exam_charged(house: House, view: View, item: Json) -> Exam | None:
    """The exam whose Procedure a ChargeItem charges for; None when there is none."""
    for reference in item.get("service", []):
        type_, _, id_ = str(reference.get("reference", "")).removeprefix(f"{house.base}/").partition("/")
        stored = view.get(type_, id_) if type_ == "Procedure" else None
        if stored is not None and not stored.deleted and (exam := exam_shown(view, decoded(stored))):
            return exam
    return None


def exam_shown(view: View, resource: Json) -> Exam | None:
    """The exam of the order that a resource is based on; None when there is none."""
    for reference in resource.get("basedOn", []):
        type_, _, id_ = str(reference.get("reference", "")).partition("/")
        exam = view.exam_of_order(id_) if type_ == "ServiceRequest" else None
        if exam is not None:
            return exam
    return None
