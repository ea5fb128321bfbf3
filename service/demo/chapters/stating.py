"""What has no single expected answer, said by a person one by one."""

from service.demo import evidence, scanner
from service.demo.client import Json
from service.demo.stage import Exam, Stage


def state(stage: Stage, exam: Exam, open_: list[Json]) -> None:
    """State everything these steps still ask for; says nothing when that is nothing."""
    answers = [
        (scanner.title(t), *scanner.answer(t, code).split(".")[1:]) for t in open_ for code, _ in scanner.owed(t)
    ]
    if not answers:
        return
    said = [f"{title}, {attribute.replace('-', ' ')}: {value.replace('-', ' ')}" for title, attribute, value in answers]
    stage.tell.sent("POST /fhir", f"{len(said)} finding{'s' if len(said) > 1 else ''}, said by a person one by one:")
    stage.tell.items(said, most=4)
    stage.scanner.post("", evidence.bundle(scanner.findings_for(exam, open_)))
