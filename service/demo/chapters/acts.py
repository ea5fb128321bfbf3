"""What a person says about one step: the Parameters of $settle, and what comes back."""

from service.demo import evidence, invented, scanner
from service.demo.client import Json
from service.demo.stage import Exam, Stage
from service.demo.trouble import Trouble

Said = str | int | bool


def parameters(**said: Said | list[str]) -> Json:
    """Parameters of these names; a list gives one parameter for each text."""
    parts = [
        _part(name, one) for name, given in said.items() for one in (given if isinstance(given, list) else [given])
    ]
    return {"resourceType": "Parameters", "parameter": parts}


def settle_step(stage: Stage, exam: Exam, step: str, *, told: str, **said: Said) -> Json:
    """Say something about one step, in words for people too; its Task as it then stands."""
    task = step_of(stage, exam, step)
    performer = {} if said.get("retract") else {"performer": invented.SONOGRAPHER}
    answer = stage.scanner.post(f"Task/{task['id']}/$settle", parameters(**said, **performer)).body
    stage.tell.sent("POST /fhir/Task/<step>/$settle", told)
    stage.tell.came(200, standing(answer))
    return answer


def step_of(stage: Stage, exam: Exam, step: str) -> Json:
    """The Task of a step, by the step's code."""
    found = [t for t in stage.scanner.all(f"Task?part-of=Task/{exam.task}&_count=100") if scanner.step(t) == step]
    if not found:
        raise Trouble(f"the exam has no step {step}")
    return found[0]


def send(stage: Stage, resources: list[Json], *, told: str) -> None:
    """Send evidence that is worth a word of its own."""
    answer = stage.scanner.post("", evidence.bundle(resources))
    stage.tell.sent("POST /fhir", told)
    stage.tell.came(200, f"{answer.statuses.count(201)} stored.")


def standing(task: Json) -> str:
    """How a step stands, in words."""
    things = len(scanner.owed(task))
    owes = f"{things} thing{'s' if things > 1 else ''} owed" if things else "nothing owed"
    return f"{scanner.title(task)} ({str(task['businessStatus']['text']).lower()}; {owes})"


def _part(name: str, value: Said) -> Json:
    kind = "valueString"
    if isinstance(value, bool):
        kind = "valueBoolean"
    elif isinstance(value, int):
        kind = "valuePositiveInt"
    return {"name": name, kind: value}
