"""A report over HTTP: preliminary ones that stay, the forms it can be had in, and its document."""

import hashlib
from base64 import b64decode, b64encode
from typing import Any

from service.fhir import uris, validate
from tests.builders.orders import parameters
from tests.whole.telling import Desk, Exam, Json, refusal, result, taken

SIGNED = {"interpreter": "Dr I. Reader", "conclusion": "No abnormality seen."}
KINDS = {"pdf": "application/pdf", "page": "text/html; charset=utf-8", "text": "text/plain; charset=utf-8"}


def surveyed(desk: Desk) -> Exam:
    exam = desk.place(service="fluid-check")
    desk.survey(exam)
    return exam


def form(desk: Desk, report: str, **asked: Any) -> Any:
    return desk.http.get(f"/{report}/$form", params=asked, headers={"Accept": "*/*"})


def attached(report: Json, media: str) -> Json:
    return next(f for f in report["presentedForm"] if f["contentType"] == media)


def test_every_form_is_the_one_that_was_signed(desk: Desk) -> None:
    told = desk.finish(surveyed(desk), **SIGNED)
    report = desk.get(told["report"])
    for kind, media in KINDS.items():
        answer = form(desk, told["report"], kind=kind)
        assert (answer.status_code, answer.headers["content-type"]) == (200, media)
        signed = attached(report, media)
        assert b64encode(hashlib.sha1(answer.content).digest()).decode() == signed["hash"]
        assert len(answer.content) == signed["size"]
        assert "sandbox" in answer.headers["content-security-policy"]
        binary = desk.get(f"{told['report']}/$form?kind={kind}")
        assert (binary["resourceType"], b64decode(binary["data"])) == ("Binary", answer.content)
        assert validate.check(binary) == []
    assert form(desk, told["report"]).content.startswith(b"%PDF-1.7")
    assert form(desk, told["report"], kind="pdf", _pretty="true").content.startswith(b"%PDF-1.7")
    refusal(form(desk, told["report"], kind="song"), 400)
    refusal(form(desk, told["report"], kind="pdf", version="7"), 404)
    refusal(form(desk, "DiagnosticReport/none"), 404)


def test_each_version_keeps_its_forms(desk: Desk) -> None:
    exam = surveyed(desk)
    told = desk.finish(exam, **SIGNED)
    first = form(desk, told["report"]).content
    again = {"status": "amended", "reason": "Second reading", "by": "Dr J. Reader", "conclusion": "Thin wall."}
    again |= {"major": False}  # type: ignore[dict-item]
    taken(desk.operate(exam.id, "amend", **again))
    assert form(desk, told["report"], version="1").content == first
    assert form(desk, told["report"]).content != first


def test_the_document_has_the_sections_and_all_that_belongs_to_the_report(desk: Desk) -> None:
    told = desk.finish(surveyed(desk), **SIGNED)
    whole = desk.get(f"{told['report']}/$as-document")
    assert validate.check(whole) == []
    composition = whole["entry"][0]["resource"]
    assert (composition["resourceType"], composition["status"]) == ("Composition", "final")
    titles = [section["title"] for section in composition["section"]]
    assert titles[:5] == [
        *("Identity", "Clinical question and history", "Examination and preparation", "Quality and limits"),
        "Findings by station",
    ]
    urls = {entry["fullUrl"] for entry in whole["entry"]}
    named = [one["reference"] for section in composition["section"] for one in section.get("entry", [])]
    assert named
    assert set(named) <= urls
    assert composition["event"][0]["detail"][0]["reference"] in urls
    assert desk.get(f"{told['report']}/$as-document") == whole


def test_preliminary_reports_are_kept_beside_the_final_one_which_tells_the_difference(desk: Desk) -> None:
    exam = desk.place(service="fluid-check")
    first = result(desk.operate(exam.id, "preliminary", interpreter="Dr I. Reader", conclusion="Fluid, so far."))
    again = result(desk.operate(exam.id, "preliminary", interpreter="Dr I. Reader", conclusion="Fluid, so far."))
    assert again["report"] == first["report"]
    early = desk.get(first["report"])
    assert early["status"] == "preliminary"
    assert "This is not the final report." in early["text"]["div"]
    desk.survey(exam)
    second = result(desk.operate(exam.id, "preliminary", interpreter="Dr I. Reader", conclusion="Fluid, so far."))
    assert second["report"] != first["report"]
    (issue,) = refusal(desk.operate(exam.id, "finish", **SIGNED), 422)
    assert "whether what differs from the preliminary report can alter the care" in issue[1]
    told = desk.finish(exam, **SIGNED, major=True)
    final = desk.get(told["report"])
    assert told["report"] not in {first["report"], second["report"]}
    assert desk.get(first["report"]) == early
    text = b64decode(attached(final, KINDS["text"])["data"]).decode()
    assert "A preliminary report was issued on" in text
    assert "was “Fluid, so far.”, now “No abnormality seen.”" in text
    edition = next(e for e in final["extension"] if e["url"] == uris.X_REPORT_EDITION)
    assert {"url": "major", "valueBoolean": True} in edition["extension"]
    assert "The author states that the difference can change the animal's care." in text
    assert "Discrepancy" in text or "differs from" in text
    assert {"url": "preliminary", "valueReference": {"reference": second["report"]}} in edition["extension"]
    refusal(desk.operate(exam.id, "preliminary", interpreter="Dr I. Reader"), 409)
    taken(desk.operate(exam.id, "withdraw", reason="Wrong animal", by="Dr I. Reader"))
    reports = [desk.get(one)["status"] for one in (first["report"], second["report"], told["report"])]
    assert reports == ["entered-in-error"] * 3


def test_a_conclusion_in_codes_is_kept_through_amendments(desk: Desk) -> None:
    exam = surveyed(desk)
    code = {"coding": [{"system": "urn:example:diagnosis", "code": "D-1", "display": "Invented disorder"}]}
    asked = parameters(SIGNED)
    asked["parameter"].append({"name": "conclusionCode", "valueCodeableConcept": code})
    told = result(taken(desk.http.post(f"/Task/{exam.id}/$finish", json=asked)))
    assert desk.get(told["report"])["conclusionCode"] == [code]
    again = {"status": "appended", "reason": "One word more", "by": "Dr J. Reader", "conclusion": "Thin wall."}
    taken(desk.operate(exam.id, "amend", **again))
    assert desk.get(told["report"])["conclusionCode"] == [code]


def test_a_preliminary_report_says_who_reports(desk: Desk) -> None:
    exam = desk.place(service="fluid-check")
    assert "interpreter" in str(refusal(desk.http.post(f"/Task/{exam.id}/$preliminary", json=parameters()), 422))
