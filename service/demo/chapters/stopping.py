"""The cat: a survey that has to be stopped, says so, costs less, and is withdrawn because it was the wrong cat."""

from service.demo import invented
from service.demo.chapters import delivering, finishing, ordering, surveying
from service.demo.chapters.acts import parameters
from service.demo.client import Json
from service.demo.presented import text_of
from service.demo.stage import Exam, Stage

WHY = "breathing hard and fast on the table"


def stop_early(stage: Stage, exam: Exam) -> tuple[Json, Json]:
    """Two stations, then the rest is left for a reason; (DiagnosticReport, Invoice)."""
    for number in (1, 2):
        here = surveying.steps(stage, exam, number)
        stage.tell.heading(f"Station {str(here[0]['description']).partition(': ')[0]}")
        surveying.station(stage, exam, number)
    left = surveying.steps(stage, exam)
    stage.tell.say(
        f"Then {exam.case.name} breathes with effort. {len(left)} structures were not looked at yet; "
        "the vet stops and says why:"
    )
    stage.tell.sent("POST /fhir/Task/<exam>/$finish", f"remaining = time-limited, stopped for the cat's safety: {WHY}")
    conclusion = "Liver and gallbladder look as expected. All else was not examined."
    signed = parameters(interpreter=invented.INTERPRETER, conclusion=conclusion, remaining="time-limited", detail=WHY)
    report, invoice = finishing.issued(stage, exam, signed)
    stage.tell.say("The report does not call normal what nobody saw. From its text:")
    stage.tell.block(_limits(text_of(report)))
    stage.tell.say("And a survey stopped for this reason is charged as a limited one:")
    finishing.show_invoice(stage, invoice)
    return report, invoice


def withdraw(stage: Stage, exam: Exam, report: Json) -> tuple[Json, Json]:
    """It was the other cat of the house; (DiagnosticReport as it now reads, the credit)."""
    reason = f"Wrong animal: the cat scanned was not {exam.case.name}"
    stage.tell.say(
        f"In the evening it turns out that the other cat of the house was on the table, not {exam.case.name}:"
    )
    stage.tell.sent("POST /fhir/Task/<exam>/$withdraw", f'"{reason}"')
    said = parameters(reason=reason, by=invented.INTERPRETER)
    answer = stage.scanner.post(f"Task/{exam.task}/$withdraw", said).body
    made = {p["name"]: p["valueReference"]["reference"] for p in answer["parameter"]}
    credit = stage.scanner.get(made["credit"])
    finishing.count_invoice(stage, credit)
    stage.tell.came(200, f"all that is ours is entered in error; {made['credit']} credits the invoice to zero:")
    finishing.show_invoice(stage, credit)
    there = delivering.arrived(stage, report, status="entered-in-error")
    stage.tell.say(
        f"The record system knows since {there['meta']['lastUpdated']}: its report is marked entered in error too."
    )
    return stage.scanner.get(f"DiagnosticReport/{report['id']}"), credit


def order(stage: Stage) -> Exam:
    """The cat's order, with its steps counted."""
    exam = ordering.order(stage, invented.CAT)
    ordering.show_steps(stage, exam)
    return exam


def _limits(text: str) -> str:
    """The section of the report that says what limited the examination."""
    lines = text.splitlines()
    start = next((i for i, line in enumerate(lines) if line.endswith("limits")), 0)
    kept = lines[start:]
    end = next((i for i, line in enumerate(kept) if i and not line.strip()), len(kept))
    return "\n".join(kept[:end])
