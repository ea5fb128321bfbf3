"""An urgent finding of a referred animal: told at the clinic, received there, known at the hospital by whom."""

from service.actions import escalate_urgent
from service.actions.ports import House
from service.catalogue.load import Catalogues
from service.exam import urgent_state
from service.fhir import uris
from tests.builders.survey import mappings
from tests.referral.conftest import Meet, Sides
from tests.referral.test_referral import accepted
from tests.whole.telling import Exam, Json, coded, only, result, taken

MESSAGE = f"{uris.TASK_CODE}|{urgent_state.MESSAGE_TASK}"


def confirmed(sides: Sides) -> tuple[Exam, Json]:
    """Free gas, found and confirmed at the hospital."""
    exam = accepted(sides)
    taken(sides.hospital.note(exam.scanner.found("peritoneum", "free-gas", "present")))
    task = only(sides.hospital.search("Task", **{"part-of": f"Task/{exam.id}", "code": f"{uris.URGENT}|free-gas"}))
    told = result(taken(sides.hospital.operate(task["id"], "urgent", by="Examiner")))
    sides.carry()
    assert sides.dead() == []
    return exam, told


def message(sides: Sides) -> Json:
    return only(sides.clinic.search("Task", code=MESSAGE))


def house(sides: Sides) -> House:
    return House(sides.books, Catalogues(mappings(), sides.books.catalogue_text))


def test_it_is_listed_at_both_sides_until_somebody_at_the_clinic_has_received_it(meet: Meet) -> None:
    sides = meet()
    _, told = confirmed(sides)
    for desk in (sides.clinic, sides.hospital):
        with sides.books.view(desk.slug) as view:
            open_ = escalate_urgent.open_matters(house(sides), view, now=escalate_urgent.clock())
        assert [one.record.title for one in open_] == ["Free abdominal gas without recent surgery"], desk.slug
    said = {"by": "Reception", "to": "Dr R. Ferrer", "method": "voice", "readBack": True}
    for _ in range(2):
        taken(sides.clinic.operate(message(sides)["id"], "urgent-acknowledge", **said))
    assert "Dr R. Ferrer" in message(sides)["note"][0]["text"]
    sides.carry()
    assert sides.dead() == []
    here = sides.hospital.get(told["task"])
    assert (here["status"], coded(here["businessStatus"])) == ("completed", "acknowledged")
    spoken = sides.hospital.get(told["communication"])
    assert spoken["recipient"][-1]["display"] == "Dr R. Ferrer"
    assert message(sides)["status"] == "completed"
    for desk in (sides.clinic, sides.hospital):
        with sides.books.view(desk.slug) as view:
            assert escalate_urgent.open_matters(house(sides), view, now=escalate_urgent.clock()) == []


def test_nobody_answers_so_the_next_on_the_clinics_list_is_named_and_reminded(meet: Meet) -> None:
    sides = meet({"contacts": ("Dr S. Second", "Dr T. Third")})
    _, told = confirmed(sides)
    late = sides.hospital.get(told["task"])["restriction"]["period"]["end"]
    assert escalate_urgent.escalate(house(sides), sides.clinic.slug, now=late) == 0  # the hospital's clock counts
    assert escalate_urgent.escalate(house(sides), sides.hospital.slug, now=late) == 1
    assert sides.hospital.get(told["task"])["owner"]["display"] == "Dr S. Second"
    sides.carry()
    assert sides.dead() == []
    assert message(sides)["owner"]["display"] == "Dr S. Second"
    assert coded(message(sides)["businessStatus"]) == "overdue"
