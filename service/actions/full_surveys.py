"""An exam whose price hangs on them into the full surveys of the same animal that stand."""

from service.actions.case import Case
from service.actions.gathering import all_of
from service.actions.ports import House, View
from service.basics.stored import Exam
from service.billing.follow_up import FOLLOWING, FullSurvey
from service.billing.hours import start
from service.fhir import uris


def full_surveys(house: House, view: View, case: Case) -> tuple[FullSurvey, ...]:
    """The animal's finished full surveys at this practice, on the practice's own days; none where no price asks."""
    services = case.catalogue.services
    if case.order.service.scope not in FOLLOWING:
        return ()
    full = {key for key, service in services.items() if service.scope == "full"}
    found = (one for one in exams_of(house, view, case.exam.animal) if one.id != case.exam.id)
    days = ((one, start(case.practice, one.started).day) for one in found if one.service in full)
    return tuple(FullSurvey(f"Task/{one.id}", day) for one, day in days if day is not None and one.state == "finished")


def exams_of(house: House, view: View, animal: str) -> list[Exam]:
    """All exams of an animal, whatever became of them."""
    tasks = all_of(house, view, "Task", patient=f"Patient/{animal}", code=f"{uris.TASK_FULFIL}|fulfill")
    return [found for task in tasks if (found := view.exam(task["id"])) is not None]
