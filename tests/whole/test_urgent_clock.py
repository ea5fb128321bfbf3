"""What nobody decides or receives in time is seen: in the Tasks, in a search, and by `urgent list`."""

import json
import threading
from datetime import datetime, timedelta

import pytest
import typer

from service.actions import escalate_urgent
from service.actions.ports import House
from service.catalogue.load import Catalogues
from service.commands import urgent as command
from service.fhir import exact, uris
from tests.builders.survey import mappings
from tests.whole.telling import Desk, Exam, only, result, taken
from tests.whole.test_urgent import TOLD, business, confirmed, suggested

pytestmark = pytest.mark.sqlite_first


@pytest.fixture
def exam(desk: Desk) -> Exam:
    return desk.place(service="fluid-check")


@pytest.fixture
def house(desk: Desk) -> House:
    books = desk.instance.books
    return House(books, Catalogues(mappings(), books.catalogue_text))


def after(begun: str, minutes: int) -> str:
    """So many minutes after an instant."""
    return exact.instant(datetime.fromisoformat(begun) + timedelta(minutes=minutes))


def test_tier_1_escalates_after_15_minutes_and_is_overdue_after_60(desk: Desk, exam: Exam, house: House) -> None:
    told = confirmed(desk, exam)
    begun = desk.get(told["task"])["restriction"]["period"]["start"]
    for minutes, changed, state in ((14, 0, "waiting"), (15, 1, "escalated"), (59, 0, "escalated"), (60, 1, "overdue")):
        assert escalate_urgent.escalate(house, desk.slug, now=after(begun, minutes)) == changed, minutes
        task = desk.get(told["task"])
        assert business(task) == ("requested", state)
    code = f"{uris.URGENT_STATE}|overdue"
    assert only(desk.search("Task", **{"business-status": code}))["id"] == task["id"]
    taken(desk.operate(task["id"], "urgent-acknowledge", **TOLD))
    assert business(desk.get(told["task"])) == ("completed", "acknowledged")
    assert escalate_urgent.escalate(house, desk.slug, now=after(begun, 9999)) == 0


def test_a_suggestion_that_nobody_decides_escalates_too(desk: Desk, exam: Exam, house: House) -> None:
    task = suggested(desk, exam)
    begun = task["restriction"]["period"]["start"]
    assert escalate_urgent.escalate(house, desk.slug, now=after(begun, 61)) == 1
    late = desk.get(f"Task/{task['id']}")
    assert business(late) == ("ready", "overdue")
    assert [o["type"]["coding"][0]["code"] for o in late["output"]][1:] == ["clock:escalated", "clock:overdue"]
    told = result(taken(desk.operate(task["id"], "urgent", by="Examiner")))
    assert desk.get(told["task"])["restriction"]["period"]["start"] == begun  # deciding late wins no time
    assert escalate_urgent.escalate(house, desk.slug, now=after(begun, 61)) == 1


def test_the_list_tells_by_the_clock_what_is_open(
    desk: Desk, exam: Exam, house: House, capsys: pytest.CaptureFixture[str]
) -> None:
    books = desk.instance.books
    command.list_(books, mappings(), organization=desk.slug)
    assert capsys.readouterr().out == "nothing urgent is open\n"
    told = confirmed(desk, exam)
    taken(desk.note(exam.scanner.found("peritoneum", "fluid-echo", "echogenic")))
    begun = desk.get(told["task"])["restriction"]["period"]["start"]
    command.list_(books, mappings(), organization=desk.slug, now=after(begun, 16))
    shown = capsys.readouterr().out
    for part in ("escalated", "Free abdominal gas", "Quillfeather", "Dr R. Ferrer", "to be decided", told["task"][5:]):
        assert part in shown, part
    assert "does not replace a phone call" in shown
    with pytest.raises(typer.Exit) as ended:
        command.list_(books, mappings(), organization=desk.slug, now=after(begun, 61), as_json=True)
    assert ended.value.exit_code == 1
    listed = json.loads(capsys.readouterr().out)
    assert {(one["code"], one["message_state"] or one["state"]) for one in listed} >= {("free-gas", "overdue")}
    assert business(desk.get(told["task"])) == ("requested", "waiting")  # looking writes nothing
    command.escalate(books, mappings(), organization=desk.slug, now=after(begun, 61))
    assert "2 escalated" in capsys.readouterr().out
    assert business(desk.get(told["task"])) == ("requested", "overdue")


def test_many_clocks_write_it_once(desk: Desk, exam: Exam, house: House) -> None:
    told = confirmed(desk, exam)
    begun = desk.get(told["task"])["restriction"]["period"]["start"]
    version = int(desk.get(told["task"])["meta"]["versionId"])
    changed: list[int] = []
    clocks = [
        threading.Thread(
            target=lambda: changed.append(escalate_urgent.escalate(house, desk.slug, now=after(begun, 20)))
        )
        for _ in range(6)
    ]
    for one in clocks:
        one.start()
    for one in clocks:
        one.join()
    assert sum(changed) == 1
    assert int(desk.get(told["task"])["meta"]["versionId"]) == version + 1


def test_a_watch_goes_on_until_it_is_told_to_stop(desk: Desk, exam: Exam, house: House) -> None:
    told = confirmed(desk, exam)
    stop, looks = threading.Event(), []

    def practices() -> list[str]:
        looks.append(1)
        if len(looks) == 3:
            stop.set()
        return [desk.slug, "no-such-practice"]

    escalate_urgent.watch(house, practices, stop=stop, pause=0.001)
    assert len(looks) == 3
    assert business(desk.get(told["task"])) == ("requested", "waiting")  # it is not late yet
