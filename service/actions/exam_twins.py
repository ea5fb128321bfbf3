"""An exam into the others of its animal and day that its charges must be compared with."""

from service.actions.full_surveys import exams_of
from service.actions.ports import House, View
from service.actions.practices import practice_of
from service.actions.writing import decoded
from service.basics.stored import Exam
from service.billing.follow_up import FLUID_CHECK
from service.billing.hours import start
from service.fhir.reading.order import repeat_reason

FULL = "full"  # the scope of a whole survey


def twins(house: House, view: View, exam: Exam) -> list[Exam]:
    """The finished exams of the animal on the same day of the practice that do the same as this one, or cover it.

    A full survey covers a fluid check where the practice does not charge both; each is then the other's twin."""
    if not exam.started:
        return []
    practice = practice_of(house, view)
    day = start(practice, exam.started).day
    alike = {_scope(house, exam)}
    alike |= {FULL, FLUID_CHECK} if alike & {FULL, FLUID_CHECK} and not practice.fluid_check_apart else set()
    others = [o for o in exams_of(house, view, exam.animal) if o.id != exam.id and o.state == "finished"]
    same = [o for o in others if o.service == exam.service or _scope(house, o) in alike]
    return [o for o in same if day is not None and start(practice, o.started).day == day]


def repeated(house: House, view: View, exam: Exam) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """(ids of the earlier exams that this one repeats, ids of full surveys that cover it); none of either when its

    order says why it was done all the same. Ids rise with the time of the order."""
    found = twins(house, view, exam)
    stored = view.get("ServiceRequest", exam.order) if found else None
    if stored is not None and not stored.deleted and repeat_reason(decoded(stored)):
        return (), ()
    earlier = tuple(one.id for one in found if one.service == exam.service and one.id < exam.id)
    covered = _scope(house, exam) == FLUID_CHECK
    return earlier, tuple(one.id for one in found if covered and _scope(house, one) == FULL)


def _scope(house: House, exam: Exam) -> str:
    service = house.catalogues.current.services.get(exam.service)
    return service.scope if service is not None else exam.service
