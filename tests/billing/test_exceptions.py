"""Nothing performed is forgotten in silence: exceptions are found, searched, settled by somebody, and kept."""

import json
import threading
import uuid
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
import typer

from service.actions.billing_check import check
from service.actions.settle_exception import listed
from service.commands import billing
from service.fhir import uris
from service.store import SqlBooks
from tests.builders import orders
from tests.builders.bills import Clock, house
from tests.builders.counter_desk import Desk
from tests.builders.survey import mappings

Json = dict[str, Any]
AT = "2026-11-25T09:30:00Z"
BANDAGE = {
    "resourceType": "ChargeItem",
    "status": "billable",
    "code": {"text": "Bandage"},
    "subject": {"display": "x"},
}
OPEN = {"code": "billing-exception", "status": "requested"}


def test_an_exam_that_was_billed_is_none(desk: Desk) -> None:
    desk.finished()
    assert desk.check() == 0
    assert desk.kinds() == []


def test_a_payer_who_is_not_clear_is_found_settled_and_kept(desk: Desk) -> None:
    exam = desk.finished(owners=2)
    assert desk.check() == 1
    assert desk.open() == [("payer-unclear", f"Task/{exam}")]
    task = desk.task("payer-unclear")
    assert "who pays" in task["description"]
    assert task["partOf"] == [{"reference": f"Task/{exam}"}]
    settled = desk.operate(task["id"], "billing-settle", reason="Both pay half, by hand", by="B. Keeper")
    assert settled.is_success
    assert desk.kinds() == []
    kept = desk.http.get(f"/fhir/Task/{task['id']}").json()
    assert (kept["status"], kept["statusReason"]["text"]) == ("completed", "Both pay half, by hand")
    assert kept["note"][0]["authorString"] == "B. Keeper"
    assert desk.check() == 0  # its facts are the same: it stays settled
    assert desk.kinds() == []
    audit = desk.http.get("/fhir/AuditEvent", params={"entity": f"Task/{task['id']}"}).json()["entry"]
    told = [e["resource"]["subtype"][-1]["code"] for e in audit]
    assert {"billing-check", "billing-settle"} <= set(told)


def test_a_price_that_is_missing_names_the_charge(desk: Desk) -> None:
    desk.finished(at="2019-12-31T10:00:00Z")
    desk.check()
    ((kind, subject),) = desk.open()
    assert kind == "price-missing"
    assert subject.startswith("ChargeItem/")
    assert "no price" in desk.task(kind)["description"]


def test_a_practice_without_a_billing_profile(books: SqlBooks, desk_of: Callable[[str], Desk]) -> None:
    slug = f"practice-{uuid.uuid4().hex[:12]}"
    books.add_organization(slug, "Practice without a profile", "practice")
    desk = desk_of(slug)
    desk.finished()
    desk.check()
    assert desk.kinds() == ["profile-missing"]


def test_an_exam_without_a_charge_comes_and_goes_with_its_facts(desk: Desk) -> None:
    exam = desk.finished()
    desk.charge(exam, status="entered-in-error")
    assert desk.check() == 1
    assert desk.open() == [("exam-without-charge", f"Task/{exam}")]
    id_ = desk.task("exam-without-charge")["id"]
    desk.charge(exam, status="billed")
    assert desk.check() == 1
    assert desk.kinds() == []
    gone = desk.http.get(f"/fhir/Task/{id_}").json()
    assert (gone["status"], gone["statusReason"]["text"]) == ("cancelled", "It is no longer so.")
    desk.charge(exam, status="aborted")
    assert desk.check() == 1  # the same again is the same Task again
    assert desk.task("exam-without-charge")["id"] == id_
    assert desk.kinds() == ["exam-without-charge"]


def test_a_charge_that_hangs_on_no_exam(desk: Desk) -> None:
    item = {
        "resourceType": "ChargeItem",
        "status": "billable",
        "code": {"text": "Bandage"},
        "subject": {"display": "x"},
    }
    made = desk.http.post("/fhir/ChargeItem", json=item).json()
    assert desk.check() == 1
    assert desk.open() == [("charge-without-exam", f"ChargeItem/{made['id']}")]
    assert desk.check() == 0
    task = desk.task("charge-without-exam")
    assert desk.operate(task["id"], "billing-settle", reason="Sold at the desk", by="B. Keeper").is_success
    assert desk.check() == 0
    etag = {"If-Match": f'W/"{made["meta"]["versionId"]}"'}
    changed = desk.http.put(f"/fhir/ChargeItem/{made['id']}", json={**made, "status": "billed"}, headers=etag)
    assert changed.is_success, changed.text
    assert desk.check() == 1  # other facts: another exception
    assert desk.kinds() == ["charge-without-exam"]


def test_a_charge_that_outlives_its_exam(desk: Desk) -> None:
    _, exam = desk.order()
    assert desk.operate(exam, "withdraw", reason="Wrong animal", by="B. Keeper").is_success
    assert desk.check() == 0
    desk.charge(exam, status="billable")
    assert desk.check() == 1
    assert desk.kinds() == ["charge-without-exam"]


def test_b32_a_second_exam_of_the_same_scope_on_one_day(desk: Desk) -> None:
    first = desk.finished()
    with desk.books.view(desk.slug) as view:
        found = view.exam(first)
        assert found is not None
    again = orders.bundle(service="fluid-check")
    ours = {e["resource"]["resourceType"]: e for e in again["entry"]}
    request = ours["ServiceRequest"]
    request["resource"]["subject"] = {"reference": f"Patient/{found.animal}"}
    second = desk.finished(whole={**again, "entry": [request]})
    assert desk.check() == 1
    assert desk.open() == [("duplicate-suspected", f"Task/{second}")]
    assert f"Task/{first}" in desk.task("duplicate-suspected")["description"]
    assert desk.operate(first, "withdraw", reason="It was the other one", by="B. Keeper").is_success
    assert desk.check() == 1
    assert desk.kinds() == []


def test_b07_b06_a_corrected_record_changes_no_money_and_is_told(desk: Desk) -> None:
    exam = desk.finished(notes={"sedation": {"valueString": "given"}})
    assert desk.check() == 0
    with desk.books.view(desk.slug) as view:
        found = view.exam(exam)
        assert found is not None
    said = {"status": "amended", "reason": "Reads better", "by": "Dr I. Reader", "major": False}
    assert desk.operate(exam, "amend", conclusion="No abnormality was seen.", **said).is_success
    assert desk.check() == 0  # other words change no money, and nobody need look
    search = {"based-on": f"ServiceRequest/{found.order}", "code": f"{uris.NOTE}|sedation"}
    (note,) = (e["resource"] for e in desk.http.get("/fhir/Observation", params=search).json()["entry"])
    said = {"status": "corrected", "reason": "It was another animal", "by": "Dr I. Reader", "major": False}
    given = {**note, "valueString": "none"}
    answer = desk.operate(exam, "amend", observation=given, conclusion="Without sedation.", **said)
    assert answer.is_success, answer.text
    assert desk.check() == 1
    assert desk.open() == [("changed-after-invoicing", f"Invoice/{found.invoice}")]
    assert "Sedation was charged and is no longer recorded" in desk.task("changed-after-invoicing")["description"]


@pytest.mark.parametrize(
    ("said", "charged"),
    [
        ({"valueBoolean": True}, True),
        ({"valueString": "butorphanol 0.2 mg/kg"}, True),
        ({"valueBoolean": False}, False),
        ({"valueString": "None"}, False),
        ({"valueString": "not sedated"}, False),
    ],
)
def test_who_was_not_sedated_pays_for_none(desk: Desk, said: Json, charged: bool) -> None:
    exam = desk.finished(notes={"sedation": said})
    found = desk.http.get("/fhir/ChargeItem", params={"code": f"{uris.CHARGE}|sedation"}).json()
    assert bool(found.get("entry")) is charged, exam


def test_what_the_record_system_refuses_or_does_not_acknowledge(desk: Desk, clock: Clock) -> None:
    desk.books.add_destination(desk.slug, "records", url="http://records.invalid/fhir")
    exam = desk.finished()
    assert desk.check("2026-11-25T11:00:00.000Z") == 0  # 60 minutes are not over
    assert desk.check("2026-11-25T11:00:00.001Z") == 1
    assert desk.open() == [("unacknowledged", f"Task/{exam}")]
    (post,) = desk.books.deliveries(desk.slug)
    settle(desk, "dead", now="2026-11-25T12:00:00+00:00")
    assert desk.check("2026-11-25T12:00:10.000Z") == 2  # one gone, one new
    assert desk.open() == [("refused", f"Task/{exam}")]
    task = desk.task("refused")
    assert desk.operate(task["id"], "billing-settle", reason="Told them by telephone", by="B. Keeper").is_success
    assert desk.check("2026-11-25T12:10:00.000Z") == 0
    desk.books.replay(desk.slug, post.id, by="B. Keeper")
    settle(desk, "dead", now="2026-11-25T13:00:00+00:00")
    assert desk.check("2026-11-25T13:00:10.000Z") == 1  # refused once more: other facts
    assert desk.kinds() == ["refused"]
    desk.books.replay(desk.slug, post.id, by="B. Keeper")
    settle(desk, "delivered", now="2026-11-25T14:00:00+00:00")
    assert desk.check("2026-11-25T14:00:10.000Z") == 1
    assert desk.kinds() == []


def settle(desk: Desk, state: str, *, now: str) -> None:
    """Let a courier's attempt at the practice's one post end."""
    moment = Clock(now).now
    post = next(p for p in desk.books.lease("a test", limit=100, seconds=60, now=Clock("2100-01-01T00:00:00Z").now)
                if p.organization == desk.slug)  # fmt: skip
    assert desk.books.settle(post, _Ended(state, moment), now=moment)


class _Ended:
    status, milliseconds, reason, answer, disable = 422, 1, "refused", "", False

    def __init__(self, state: str, moment: Any) -> None:
        self.state, self.started, self.due = state, moment, None


def test_settling_names_all_that_is_missing_and_says_what_it_is_not(desk: Desk) -> None:
    exam = desk.finished(owners=0)
    desk.check()
    id_ = desk.task("payer-unclear")["id"]
    refused = desk.operate(id_, "billing-settle")
    assert refused.status_code == 422
    assert len(refused.json()["issue"]) == 2
    assert desk.operate(exam, "billing-settle", reason="r", by="b").status_code == 404
    for _ in range(2):  # the same again changes nothing
        assert desk.operate(id_, "billing-settle", reason="r", by="b").is_success
    assert desk.http.get(f"/fhir/Task/{id_}").json()["meta"]["versionId"] == "2"
    other = desk.operate(id_, "billing-settle", reason="another", by="b")
    assert other.status_code == 409
    assert "settled by b: r" in other.json()["issue"][0]["details"]["text"]


def test_its_task_is_not_written_by_hand(desk: Desk) -> None:
    desk.finished(owners=0)
    desk.check()
    task = desk.task("payer-unclear")
    etag = {"If-Match": 'W/"1"'}
    written = desk.http.put(f"/fhir/Task/{task['id']}", json={**task, "status": "completed"}, headers=etag)
    assert written.status_code == 409
    assert "$billing-settle" in written.json()["issue"][0]["details"]["text"]


def test_the_operation_looks_now(desk: Desk) -> None:
    exam = desk.finished(owners=0)
    answer = desk.http.post("/fhir/Task/$billing-check")
    told = answer.json()["parameter"]
    assert [p["valueString"] for p in told if p["name"] in {"changed", "open"}] == ["1", "1"]
    assert desk.open(**{"part-of": f"Task/{exam}"}) == [("payer-unclear", f"Task/{exam}")]
    assert desk.http.post("/fhir/Patient/$billing-check").status_code in {404, 405}


def test_the_commands_list_and_settle(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    billing.exceptions(desk.books, mappings(), desk.slug)
    assert capsys.readouterr().out == "nothing is forgotten\n"
    exam = desk.finished(owners=0)
    with pytest.raises(typer.Exit) as ended:
        billing.exceptions(desk.books, mappings(), desk.slug)
    assert ended.value.exit_code == 1
    shown = capsys.readouterr().out
    id_ = desk.task("payer-unclear")["id"]
    for part in (id_, "Payer unclear", f"Task/{exam}"):
        assert part in shown
    with pytest.raises(typer.Exit):
        billing.settle(desk.books, mappings(), desk.slug, task=id_, reason=" ", by="B. Keeper")
    assert "why it is settled" in capsys.readouterr().err
    billing.settle(desk.books, mappings(), desk.slug, task=f"Task/{id_}", reason="Paid in cash", by="B. Keeper")
    capsys.readouterr()
    billing.exceptions(desk.books, mappings(), desk.slug, settled=True, as_json=True)
    (one,) = json.loads(capsys.readouterr().out)
    assert (one["reason"], one["by"], one["kind"]) == ("Paid in cash", "B. Keeper", "payer-unclear")


def test_many_looks_at_once_find_each_exception_once(desk: Desk) -> None:
    desk.finished(owners=0)
    assert desk.http.post("/fhir/ChargeItem", json=BANDAGE).is_success
    looks = [threading.Thread(target=desk.check) for _ in range(6)]
    for one in looks:
        one.start()
    for one in looks:
        one.join()
    assert desk.kinds() == ["charge-without-exam", "payer-unclear"]


def test_a_change_that_commits_late_is_seen_by_the_next_look(desk: Desk, clock: Clock) -> None:
    """Stamped before the last look and committed after it, as two writers on PostgreSQL may."""
    assert desk.http.post("/fhir/ChargeItem", json=BANDAGE).is_success
    assert desk.check() == 1
    clock.set("2026-11-25T09:59:30Z")
    assert desk.http.post("/fhir/ChargeItem", json=BANDAGE).is_success
    assert desk.check() == 1
    assert desk.kinds() == ["charge-without-exam"] * 2


def test_a_watch_judges_a_version_once_and_goes_on_until_it_is_told_to_stop(desk: Desk) -> None:
    desk.finished(owners=0)
    seen: set[tuple[str, int]] = set()
    assert check(house(desk.books), desk.slug, now="2026-11-25T10:00:10.000Z", seen=seen) == 1
    assert {name.partition("/")[0] for name, _ in seen} == {"Procedure", "ChargeItem", "DiagnosticReport"}
    assert check(house(desk.books), desk.slug, now="2026-11-25T10:00:20.000Z", seen=seen) == 0


def test_another_practice_sees_none_of_it(desk: Desk, desk_of: Callable[[str], Desk], practice: Any) -> None:
    desk.finished(owners=0)
    desk.check()
    other = desk_of(practice())
    assert other.kinds() == []
    assert listed(replace(house(desk.books)), other.slug) == []
    assert other.operate(desk.task("payer-unclear")["id"], "billing-settle", reason="r", by="b").status_code == 404
