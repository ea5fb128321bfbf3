"""Urgent findings over HTTP: suggested, decided, told, received; the report waits for decisions and has the record."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from service.fhir import exact, uris, validate
from tests.builders.orders import entry, parameters, transaction
from tests.whole.telling import Desk, Exam, Json, coded, decoded, only, refusal, result, taken
from tests.whole.test_finish import SIGNED, text_of

TOLD = {"by": "Examiner", "to": "Dr R. Ferrer", "method": "voice", "readBack": True}


@pytest.fixture
def exam(desk: Desk) -> Exam:
    return desk.place(service="fluid-check")


def suggested(desk: Desk, exam: Exam) -> Json:
    """Free gas, as found; answers the Task of the suggestion."""
    taken(desk.note(exam.scanner.found("peritoneum", "free-gas", "present")))
    return only(desk.search("Task", **{"part-of": f"Task/{exam.id}", "code": f"{uris.URGENT}|free-gas"}))


def confirmed(desk: Desk, exam: Exam, **said: Any) -> Json:
    """Free gas, found and confirmed; answers what the operation answered."""
    return result(taken(desk.operate(suggested(desk, exam)["id"], "urgent", by="Examiner", **said)))


def business(task: Json) -> tuple[str, str]:
    return task["status"], coded(task["businessStatus"])


def test_the_report_waits_until_every_urgent_suggestion_is_decided(desk: Desk, exam: Exam) -> None:
    task = suggested(desk, exam)
    taken(desk.note(exam.scanner.found("peritoneum", "fluid-echo", "echogenic")))
    desk.survey(exam)
    issues = refusal(desk.operate(exam.id, "finish", **SIGNED), 422)
    assert len(issues) == 2  # free gas, and septic fluid by gas and fluid: one issue each
    assert f"Task.where(id='{task['id']}').status" in {where for where, _ in issues}
    assert all("confirm" in words and "decline" in words for _, words in issues)
    owed = desk.steps(exam, status="ready")
    assert {"free-gas", "septic-fluid"} == set(owed)  # the standard search for what is owed names them
    for code, task in owed.items():
        said = {"decision": "declined", "reason": "Laparotomy two days ago."} if code == "free-gas" else {}
        taken(desk.operate(task["id"], "urgent", by="Examiner", **said))
    words = text_of(desk.get(desk.finish(exam)["report"]))
    assert "Echogenic free fluid" in words
    assert "Laparotomy two days ago" in words


def test_confirming_opens_a_communication_and_a_task_with_its_time(desk: Desk, exam: Exam) -> None:
    told = confirmed(desk, exam)
    finding, task, spoken = (desk.get(told[name]) for name in ("finding", "task", "communication"))
    assert business(finding) == ("completed", "confirmed")
    assert business(task) == ("requested", "waiting")
    assert (task["intent"], task["priority"]) == ("order", "stat")
    assert task["owner"]["display"] == "Dr R. Ferrer, Invented Clinic"  # who ordered
    assert task["partOf"] == [{"reference": told["finding"]}]
    assert task["focus"] == {"reference": told["communication"]}
    assert task["restriction"]["period"]["end"] == told["due"][0]
    assert task["restriction"]["period"]["start"] == finding["authoredOn"]
    assert spoken["status"] == "preparation"
    assert coded(only(spoken["category"])) == "alert"
    assert "free gas" in spoken["payload"][0]["contentString"].lower()
    assert [a["reference"].partition("/")[0] for a in spoken["about"]] == ["Observation"]
    for resource in (finding, task, spoken):
        assert validate.check(resource) == []
    again = result(taken(desk.operate(told["finding"].partition("/")[2], "urgent", by="Examiner")))
    assert again == told
    assert desk.counts("Communication") == {"Communication": 1}


def test_it_is_closed_by_whoever_received_it(desk: Desk, exam: Exam) -> None:
    told = confirmed(desk, exam)
    task = told["task"].partition("/")[2]
    tried = {"by": "Examiner", "to": "Dr R. Ferrer", "method": "voice", "at": "2026-11-25T10:05:00Z"}
    for _ in range(2):  # the same try twice is one
        taken(desk.operate(task, "urgent-attempt", **tried, outcome="No answer.", escalatedTo="Dr S. Econd"))
    waiting = desk.get(told["task"])
    assert business(waiting) == ("in-progress", "attempted")
    assert waiting["owner"] == {"display": "Dr S. Econd"}
    assert len(waiting["output"]) == 2
    assert desk.get(told["communication"])["status"] == "in-progress"
    said = {**TOLD, "to": "Dr S. Econd", "at": "2026-11-25T10:12:00Z"}
    first, again = (taken(desk.operate(task, "urgent-acknowledge", **said)) for _ in range(2))
    assert result(first) == result(again)
    assert business(desk.get(told["task"])) == ("completed", "acknowledged")
    spoken = desk.get(told["communication"])
    assert (spoken["status"], spoken["sent"]) == ("completed", "2026-11-25T10:12:00Z")
    assert spoken["received"] == spoken["sent"]
    assert {"display": "Dr S. Econd"} in spoken["recipient"]
    assert coded(only(spoken["medium"])) == "voice"
    assert validate.check(spoken) == validate.check(desk.get(told["task"])) == []
    ((_, words),) = refusal(desk.operate(task, "urgent-acknowledge", **{**said, "to": "Somebody Else"}), 409)
    assert "Dr S. Econd" in words
    refusal(desk.operate(task, "urgent-attempt", **{**tried, "at": "2026-11-25T10:20:00Z"}), 409)
    desk.survey(exam)
    report = text_of(desk.get(desk.finish(exam)["report"]))
    for part in (
        "Peritoneal space: free gas. Identified on ",
        "confirmed by Examiner, to be told at once. Examiner tried to reach Dr R. Ferrer by voice on 25 November 2026,",
        "10:05 (UTC): No answer. It was passed on to Dr S. Econd. Dr S. Econd was told by voice by Examiner on 25 ",
        "November 2026, 10:12 (UTC). It was read back.",
    ):
        assert part in report, part


def test_a_decision_can_be_taken_back_until_somebody_has_received_it(desk: Desk, exam: Exam) -> None:
    told = confirmed(desk, exam)
    finding = told["finding"].partition("/")[2]
    taken(desk.operate(finding, "urgent", by="Examiner", decision="declined", reason="It was an artefact."))
    assert business(desk.get(told["finding"])) == ("rejected", "declined")
    assert business(desk.get(told["task"])) == ("cancelled", "stopped")
    spoken = desk.get(told["communication"])
    assert (spoken["status"], spoken["statusReason"]["text"]) == ("not-done", "It was an artefact.")
    anew = result(taken(desk.operate(finding, "urgent", by="Dr I. Reader")))
    assert anew["task"] != told["task"]
    taken(desk.operate(anew["task"].partition("/")[2], "urgent-acknowledge", **TOLD))
    ((_, words),) = refusal(
        desk.operate(finding, "urgent", by="Examiner", decision="declined", reason="An artefact."), 409
    )
    assert "received" in words
    kinds = [o["type"]["coding"][0]["code"] for o in desk.get(told["finding"])["output"]]
    assert kinds.count("decision:confirmed") == 1
    assert {"retracted:decision:confirmed", "retracted:decision:declined"} <= set(kinds)


def test_a_person_can_raise_what_no_data_suggests(desk: Desk) -> None:
    exam = desk.place()
    told = result(taken(desk.operate(exam.id, "urgent", finding="gdv", by="Examiner", recipient="Dr S. Econd")))
    assert desk.get(told["task"])["owner"] == {"display": "Dr S. Econd"}
    assert desk.get(f"Task/{exam.id}")["status"] == "in-progress"
    own = {"words": "Collapsed on the table.", "tier": 1, "by": "Examiner"}
    first, again = (result(taken(desk.operate(exam.id, "urgent", **own))) for _ in range(2))
    other = result(taken(desk.operate(exam.id, "urgent", **{**own, "words": "A tail of fire."})))
    assert first == again
    assert other["finding"] != first["finding"]
    assert desk.get(first["finding"])["description"] == "Collapsed on the table."
    refusal(desk.operate(exam.id, "urgent", finding="gdv", by="x", decision="declined"), 400)
    refusal(desk.operate(exam.id, "urgent", finding="free-gas", by="x", decision="declined", reason="y"), 422)
    cat = desk.place(species="cat")
    ((_, words),) = refusal(desk.operate(cat.id, "urgent", finding="gdv", by="Examiner"), 400)
    assert "free-gas" in words
    assert "gdv" not in words.partition("one of")[2]


def test_every_fault_is_told_at_once(desk: Desk, exam: Exam) -> None:
    task = suggested(desk, exam)["id"]
    missing = refusal(desk.operate(task, "urgent", decision="perhaps", tier=9, colour="red"), 400)
    assert {where.partition("='")[2].rstrip("')") for where, _ in missing} == {"decision", "tier", "colour", "by"}
    ((_, words),) = refusal(desk.operate(task, "urgent-acknowledge", **TOLD), 409)
    assert "confirm" in words
    message = result(taken(desk.operate(task, "urgent", by="Examiner")))["task"].partition("/")[2]
    for name, needed in (
        ("urgent-attempt", {"by", "to", "method", "at"}),
        ("urgent-acknowledge", {"by", "to", "method"}),
    ):
        issues = refusal(desk.operate(message, name), 400)
        assert {where.partition("='")[2].rstrip("')") for where, _ in issues} == needed
    written = {"by": "Examiner", "to": "Dr R. Ferrer", "method": "message"}
    issues = refusal(desk.operate(message, "urgent-acknowledge", **written), 422)
    assert {where.partition("='")[2].rstrip("')") for where, _ in issues} == {"method", "received"}  # tier 1 is spoken
    refusal(desk.operate("nobody", "urgent", by="x"), 404)
    step = next(t["id"] for t in desk.steps(exam).values() if coded(t["code"]) == "peritoneum")
    refusal(desk.operate(step, "urgent", by="x"), 404)


def test_nobody_writes_them_by_hand(desk: Desk, exam: Exam) -> None:
    told = confirmed(desk, exam)
    for reference in (told["finding"], told["task"], told["communication"]):
        whole = desk.get(reference)
        version = whole["meta"]["versionId"]
        changed = transaction([entry(whole | {"language": "en"})])
        changed["entry"][0]["request"] = {"method": "PUT", "url": reference, "ifMatch": f'W/"{version}"'}
        ((_, words),) = refusal(desk.send(changed), 409)
        assert "$urgent" in words
        assert desk.get(reference) == whole
    own = {"resourceType": "Communication", "status": "completed", "subject": {"reference": f"Patient/{exam.animal}"}}
    taken(desk.send(own))


def test_a_withdrawn_exam_takes_its_urgent_findings_along(desk: Desk, exam: Exam) -> None:
    told = confirmed(desk, exam)
    other = result(taken(desk.operate(exam.id, "urgent", finding="mesenteric", by="Examiner")))
    taken(desk.operate(other["task"].partition("/")[2], "urgent-acknowledge", **TOLD))
    done = result(taken(desk.operate(exam.id, "withdraw", reason="The wrong animal.", by="Dr I. Reader")))
    (recall,) = done["recall"]  # who was told must be called back; the other one was never told
    assert recall.startswith("Dr R. Ferrer was told of this: mesenteric volvulus")
    for name in ("finding", "task", "communication"):
        assert desk.get(told[name])["status"] == "entered-in-error"
    refusal(desk.operate(told["task"].partition("/")[2], "urgent-acknowledge", **TOLD), 409)


def test_what_is_overdue_is_found_by_a_search(desk: Desk, exam: Exam) -> None:
    told = confirmed(desk, exam)
    open_ = {"code": f"{uris.TASK_CODE}|urgent-communication", "status": "requested,in-progress"}
    assert desk.search("Task", **open_, due="lt2026-01-01T00:00:00Z") == []
    assert [t["id"] for t in desk.search("Task", **open_, due="lt2126-01-01T00:00:00Z")] == [
        told["task"].partition("/")[2]
    ]


def test_a_change_that_can_alter_care_is_told_at_once(desk: Desk, exam: Exam) -> None:
    desk.survey(exam)
    finished = desk.finish(exam)
    said = {
        "status": "amended",
        "reason": "The second reader saw free gas.",
        "by": "Dr S. Reader",
        "conclusion": "Free gas.",
    }
    ((where, _),) = refusal(desk.operate(exam.id, "amend", **said), 422)
    assert where == "Parameters.parameter.where(name='major')"  # its author must say so
    told = result(taken(desk.operate(exam.id, "amend", **said, major=True)))
    task = desk.get(told["task"])
    assert (business(task), task["priority"]) == (("requested", "waiting"), "stat")
    assert (
        "The second reader saw free gas.; now: Free gas."
        in desk.get(task["focus"]["reference"])["payload"][0]["contentString"]
    )
    assert "Receipt by Dr R. Ferrer, Invented Clinic had not been confirmed" in text_of(desk.get(finished["report"]))
    assert result(taken(desk.operate(exam.id, "amend", **said, major=True))) == told
    minor = {**said, "reason": "A word.", "conclusion": "Free gas, little."}
    assert "task" not in result(taken(desk.operate(exam.id, "amend", **minor, major=False)))
    second = {**said, "reason": "It was a fold.", "conclusion": "No free gas."}
    again = result(taken(desk.operate(exam.id, "amend", **second, major=True)))
    assert again["task"] != told["task"]
    taken(desk.operate(told["task"].partition("/")[2], "urgent-acknowledge", **TOLD))  # after it was signed
    assert business(desk.get(told["task"])) == ("completed", "acknowledged")


def test_a_corrected_measurement_can_suggest_one_after_the_report(desk: Desk) -> None:
    exam = desk.place()
    source = decoded(taken(desk.note(exam.scanner.measured("kidney_left", "pelvis-width", "1.30"))))
    desk.survey(exam)
    desk.finish(exam)
    right = desk.get(f"Observation/{source['id']}")
    right["valueQuantity"]["value"] = exact.decode(b"13.0")
    word = only(
        o
        for o in desk.search("Observation", code=f"{uris.ATTRIBUTE}|pelvis")
        if o["bodySite"]["coding"][0]["code"] == "kidney_left"
    )
    word["valueCodeableConcept"]["coding"][0]["code"] = "kidney.pelvis.marked"  # a word agrees with what was measured
    said = {"status": "corrected", "reason": "A slip of the decimal point.", "by": "Dr I. Reader", "major": True}
    right_ones = [right, word]
    report = result(taken(desk.operate(exam.id, "amend", **said, observation=right_ones)))["report"]
    words = text_of(desk.get(report))
    assert "Left kidney: width of the renal pelvis, short axis 13.0 mm." in words
    assert "Nobody had decided it when this report was issued." in words
    task = only(desk.search("Task", **{"part-of": f"Task/{exam.id}", "code": f"{uris.URGENT}|ureter-obstruction"}))
    assert business(task) == ("ready", "suggested")
    assert desk.get(f"Task/{exam.id}")["status"] == "completed"


def test_a_report_says_above_all_else_what_nobody_has_received(desk: Desk, exam: Exam) -> None:
    confirmed(desk, exam)
    desk.survey(exam)
    report = desk.get(desk.finish(exam)["report"])
    for form in ("text/plain", "text/html"):
        words = text_of(report, form)
        told = words.index("Urgent, to be told at once: peritoneal space: free gas.")
        assert told < words.index("No abnormality seen.")
    assert "This alert does not replace a phone call" in text_of(report)


def test_what_is_raised_again_in_other_words_is_another_one(desk: Desk, exam: Exam) -> None:
    said = {"finding": "discrepancy", "by": "Examiner", "words": "The left one, not the right one."}
    first = result(taken(desk.operate(exam.id, "urgent", **said)))
    assert result(taken(desk.operate(exam.id, "urgent", **said, reason="Said once more."))) == first  # nobody knows yet
    taken(desk.operate(first["task"].partition("/")[2], "urgent-acknowledge", **TOLD))
    assert result(taken(desk.operate(exam.id, "urgent", **said)))["task"] == first["task"]
    second = result(taken(desk.operate(exam.id, "urgent", **{**said, "words": "It was the right one."})))
    assert second["task"] != first["task"]
    issues = refusal(desk.operate(exam.id, "urgent", finding="other", by="Examiner"), 400)
    assert {where.partition("='")[2].rstrip("')") for where, _ in issues} == {"words", "tier"}


def test_twenty_who_confirm_at_once_open_one_communication(desk: Desk, exam: Exam) -> None:
    task = suggested(desk, exam)["id"]

    def confirm(number: int) -> Json:
        with desk.instance.client(desk.http.headers["Authorization"][7:], judged=False) as caller:
            said = parameters({"by": f"Examiner {number}"})
            return result(taken(caller.post(f"Task/{task}/$urgent", content=exact.encode(said))))

    with ThreadPoolExecutor(20) as callers:
        answers = list(callers.map(confirm, range(20)))
    assert all(one == answers[0] for one in answers)
    assert desk.counts("Communication") == {"Communication": 1}


def test_each_finding_says_in_which_report_it_is_told(desk: Desk, exam: Exam) -> None:
    told = confirmed(desk, exam)
    desk.survey(exam)
    report = desk.finish(exam)["report"]
    desk_says = {"status": "appended", "reason": "A word.", "by": "Dr S. Reader", "conclusion": "See you."}
    taken(desk.operate(exam.id, "amend", **desk_says))
    outputs = desk.get(told["finding"])["output"]
    included = [o for o in outputs if o["type"]["coding"][0]["code"] == "included:report"]
    assert [o["valueReference"]["reference"] for o in included] == [report, report]
    assert [
        only(p["valueString"] for p in o["extension"][0]["extension"] if p["url"] == "value") for o in included
    ] == [
        "1",
        "2",
    ]
    assert business(desk.get(told["finding"])) == ("completed", "confirmed")
