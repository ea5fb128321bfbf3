"""A report is amended after it was issued: a new version with who, when and why, and no second charge."""

from service.demo import invented
from service.demo.chapters import delivering
from service.demo.chapters.acts import parameters
from service.demo.client import Json
from service.demo.stage import Exam, Stage


def amend(stage: Stage, exam: Exam, report: Json) -> Json:
    """Append a recommendation; the new version of the report."""
    said = parameters(
        status="appended",
        reason="The referring clinic asked when to look again",
        by=invented.INTERPRETER,
        recommendation="Repeat the scan of the gallbladder in 8 weeks, fasted.",
    )
    stage.tell.say(
        f"Later {invented.CLINIC} asks when to look again. The final report is never edited; it gets a new version:"
    )
    stage.tell.sent("POST /fhir/Task/<exam>/$amend", "status appended, with the reason, who, and what is added")
    answer = stage.scanner.post(f"Task/{exam.task}/$amend", said).body
    changes = [str(p["valueString"]) for p in answer["parameter"] if p["name"] == "change"]
    new = stage.scanner.get(f"DiagnosticReport/{report['id']}")
    stage.tell.came(200, f"version {new['meta']['versionId']}, status {new['status']}. What changed stands in it:")
    stage.tell.items(changes)
    there = delivering.arrived(stage, new, status="appended")
    versions = len(stage.archive.get(f"DiagnosticReport/{there['id']}/_history")["entry"])
    stage.tell.say(
        f"The record system, which had the old one, got it {there['meta']['lastUpdated']}, and keeps both versions "
        f"({versions} in its history). Invoices of this exam: {_invoices(stage, exam)}. Nothing is charged twice."
    )
    return new


def _invoices(stage: Stage, exam: Exam) -> int:
    return stage.scanner.count(f"Invoice?subject=Patient/{exam.animal}&status=issued")
