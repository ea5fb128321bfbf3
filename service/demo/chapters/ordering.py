"""An order arrives: by a transaction of the record system, twice without effect, and a wrong one not at all."""

from dataclasses import replace

from service.demo import invented, orders, scanner
from service.demo.client import Json
from service.demo.invented import Case
from service.demo.stage import Exam, Stage

RABBIT = (f"{invented.SYSTEM}/species", "rabbit", "rabbit")
UNKNOWN = (f"{invented.SYSTEM}/exams", "US-BELLY")


def order(stage: Stage, case: Case) -> Exam:
    """Place the order of a case; the exam that the service has opened for it."""
    tell, bundle = stage.tell, orders.order(case)
    held = ", ".join(e["resource"]["resourceType"] for e in bundle["entry"])
    stage.archive.post("", bundle)
    tell.say(
        f"{case.name} is {_described(case)}. Owner: {case.owner}. {invented.REFERRING_VET} of {invented.CLINIC} asks: "
        f'"{case.question}" The record system keeps all this, and sends it as the order, with its own numbers:'
    )
    tell.sent("POST /fhir", f"a transaction of {len(bundle['entry'])} resources: {held}")
    answer = stage.records.post("", bundle)
    request, animal = answer.id_of("ServiceRequest"), answer.id_of("Patient")
    task = stage.scanner.get(f"Task?focus=ServiceRequest/{request}&code=fulfill")["entry"][0]["resource"]
    tell.came(200, f"{len(answer.statuses)} resources stored or found, in one commit with the exam: Task/{task['id']}")
    stage.figures.exams += 1
    return Exam(task["id"], request, animal, case)


def show_steps(stage: Stage, exam: Exam, *, example: str = "") -> None:
    """What the exam owes before anybody has scanned; of one step (by its code) in full."""
    steps = stage.scanner.all(f"Task?part-of=Task/{exam.task}&_count=100")
    ready = [s for s in steps if s["status"] == "ready"]
    things = sum(len(scanner.owed(s)) for s in ready)
    stage.figures.steps += len(steps)
    stage.figures.owed_before += things
    stage.tell.say(
        f"For a neutered {exam.case.gender} {exam.case.species[2]} the exam has {len(steps)} survey steps, "
        f"a Task each: {len(ready)} have to be done, {len(steps) - len(ready)} are optional. "
        "What is owed is a plain search:"
    )
    stage.tell.sent(f"GET /fhir/Task?part-of=Task/{exam.task}&status=ready")
    stage.tell.came(200, f"{len(ready)} steps with {things} things owed." + " One of them:" * bool(example))
    for step in (s for s in ready if scanner.step(s) == example):
        stage.tell.items([f"{scanner.title(step)}: {words}" for _, words in scanner.owed(step)])


def estimate(stage: Stage, exam: Exam) -> None:
    """What the exam is expected to cost, before anybody has scanned."""
    said = {"resourceType": "Parameters", "parameter": [{"name": "expected", "valueCode": "doppler"}]}
    stage.tell.say("What it will come to is told before it is done, by the prices that will be billed:")
    stage.tell.sent("POST /fhir/Task/<exam>/$estimate", "Doppler is expected")
    answer = stage.scanner.post(f"Task/{exam.task}/$estimate", said).body
    totals = [str(part["valueString"]) for part in answer["parameter"] if part["name"] == "total"]
    stage.tell.came(200, f"{'; '.join(totals)}, tax included, as a draft Invoice.")


def again(stage: Stage, exam: Exam) -> None:
    """The same order once more, as after an answer that got lost."""
    stage.tell.say("The record system did not hear the answer and sends the very same order again:")
    stage.tell.sent("POST /fhir", "the same transaction")
    answer = stage.records.post("", orders.order(exam.case))
    count = stage.scanner.count(f"Task?focus=ServiceRequest/{exam.order}&code=fulfill")
    same = "the same" if answer.id_of("ServiceRequest") == exam.order else "another"
    stage.tell.came(200, f"{same} order, and still {count} exam. Nothing was stored twice.")


def wrong(stage: Stage) -> None:
    """An order with three things wrong."""
    case = replace(invented.DOG, key="rabbit", name="Clovermuddle", species=RABBIT, order="EX-ORDER-1003")
    bundle = orders.order(case, service=UNKNOWN)
    _patient(bundle)["deceasedBoolean"] = True
    stage.tell.say("Another order is wrong in three ways: a rabbit, recorded as dead, and an exam nobody knows:")
    stage.tell.sent("POST /fhir", f"a transaction of {len(bundle['entry'])} resources")
    answer = stage.records.refused("", bundle, status=422)
    stage.tell.came(422, "refused, with everything that is wrong at once:")
    stage.tell.items([_shortened(text) for text in answer.issues])
    left = stage.records.count(f"Patient?identifier={invented.SYSTEM}/animals|EX-ANIMAL-rabbit")
    stage.tell.say(f"Nothing of it was kept: {left} animals with the rabbit's number are stored.")


def _patient(bundle: Json) -> Json:
    found: Json = next(e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == "Patient")
    return found


def _described(case: Case) -> str:
    return f"a neutered {case.gender} {case.species[2]} ({case.breed}), born {case.born}, {case.weight} kg"


def _shortened(text: str, most: int = 260) -> str:
    return text if len(text) <= most else f"{text[:most].rsplit(' ', 1)[0]} ..."
