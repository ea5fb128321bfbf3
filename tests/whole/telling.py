"""What the stories say: a practice at its desk, speaking HTTP to the service and looking into the record system."""

import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import httpx

from service.fhir import exact, uris
from tests.builders import orders
from tests.builders.instances import Instance
from tests.builders.orders import entry, parameters, transaction
from tests.builders.scanner import AT, Scanner

Json = dict[str, Any]
OURS = ("DiagnosticReport", "Observation", "ChargeItem", "Invoice", "Procedure", "Task", "Media")


@dataclass(frozen=True)
class Exam:
    """An accepted order: ids of order, animal and the exam's Task, and what scans the animal."""

    order: str
    animal: str
    id: str
    scanner: Scanner


class Refused(AssertionError):
    """The service refused what the story expected it to take."""


@dataclass
class Desk:
    """One practice; `records` is a client of the record system that it sends to."""

    instance: Instance
    slug: str
    http: httpx.Client
    records: httpx.Client

    # -- orders

    def send(self, resource: Json, **headers: str) -> httpx.Response:
        """Post a resource to its type, or a Bundle to the base."""
        where = "" if resource["resourceType"] == "Bundle" else resource["resourceType"]
        return self.http.post(where, content=exact.encode(resource), headers=headers)

    def place(self, whole: Json | None = None, *, species: str = "dog", at: str = AT, **order: Any) -> Exam:
        """Order an exam by a Bundle of an invented animal."""
        answer = self.send(whole or orders.bundle(orders.patient(species=species), **order))
        return self.exam_of(answer, species=species, at=at)

    def exam_of(self, answer: httpx.Response, *, species: str = "dog", at: str = AT) -> Exam:
        """The exam that an answered order Bundle has opened."""
        made = references(answer)
        order = made["ServiceRequest"]
        task = self.exam_task(order)
        animal = task["for"]["reference"].partition("/")[2]
        return Exam(order, animal, task["id"], Scanner(order, animal, species=species, at=at))

    def exam_task(self, order: str) -> Json:
        """The one Task of an order's exam."""
        code = f"{uris.TASK_FULFIL}|fulfill"
        (task,) = self.search("Task", focus=f"ServiceRequest/{order}", code=code)
        return task

    # -- the survey

    def steps(self, exam: Exam, **criteria: str) -> dict[str, Json]:
        """The Tasks of the exam's steps by the code of the step."""
        found = self.search("Task", **{"part-of": f"Task/{exam.id}", **criteria})
        return {task["code"]["coding"][0]["code"]: task for task in found}

    def owed(self, exam: Exam) -> dict[str, list[str]]:
        """What is still owed: the items by step."""
        found = self.steps(exam, status="ready").items()
        return {code: [i["type"]["coding"][0]["code"] for i in task.get("input", [])] for code, task in found}

    def note(self, *resources: Json) -> httpx.Response:
        """Post evidence: one alone, several as a transaction."""
        return self.send(resources[0] if len(resources) == 1 else transaction(entry(r) for r in resources))

    def survey(self, exam: Exam) -> None:
        """Send all that is owed, a hundred at a time, until nothing is."""
        for _ in range(4):
            resources = exam.scanner.everything(self.steps(exam, status="ready").values())
            if not resources:
                return
            for start in range(0, len(resources), 100):
                taken(self.note(*resources[start : start + 100]))
        raise AssertionError(f"still owed: {self.owed(exam)}")

    def settle(self, exam: Exam, step: str, **said: Any) -> httpx.Response:
        """$settle a step by its code, or the exam itself ("")."""
        task = self.steps(exam)[step]["id"] if step else exam.id
        return self.operate(task, "settle", **said)

    # -- operations

    def operate(self, task: str, name: str, /, **said: Any) -> httpx.Response:
        """Call an operation of a Task."""
        return self.http.post(f"Task/{task}/${name}", content=exact.encode(parameters(said)))

    def finish(self, exam: Exam, **said: Any) -> Json:
        """$finish, taken: report and invoice by name, and in `unbilled` what was not billed."""
        signed = {"interpreter": "Dr I. Reader", "conclusion": "No abnormality seen.", **said}
        return result(taken(self.operate(exam.id, "finish", **signed)))

    # -- looking

    def get(self, reference: str) -> Json:
        """A resource as it stands, every digit kept."""
        return decoded(taken(self.http.get(reference)))

    def search(self, type_: str, **criteria: str) -> list[Json]:
        """All matches, page after page."""
        return found(self.http, type_, **criteria)

    def counts(self, *types: str) -> dict[str, int]:
        """How many resources of each type the practice has."""
        return {t: int(self.http.get(t, params={"_summary": "count"}).json()["total"]) for t in types}

    def there(self, type_: str, **criteria: str) -> list[Json]:
        """All matches in the record system."""
        return found(self.records, type_, **criteria)

    def known_there(self, whole: Json) -> None:
        """Let the record system own what an order Bundle names."""
        taken(self.records.post("", content=exact.encode(whole)))

    def delivered(self, *, within: float = 20) -> None:
        """Wait until nothing waits for delivery; fails for what is dead, naming the answer."""
        until = time.monotonic() + within
        while waiting := self.instance.books.deliveries(self.slug, state="waiting"):
            assert time.monotonic() < until, f"{len(waiting)} posts still wait"
            time.sleep(0.02)
        for post in self.instance.books.deliveries(self.slug, state="dead"):
            attempts = self.instance.books.attempts(self.slug, post.id)
            raise AssertionError(f"{post.event} is dead: {[(a.status, a.answer) for a in attempts]}")


def decoded(answer: httpx.Response) -> Json:
    """The body with exact decimals."""
    body: Json = exact.decode(answer.content)
    return body


def taken(answer: httpx.Response) -> httpx.Response:
    """The answer, which must be a success."""
    if not answer.is_success:
        raise Refused(f"{answer.status_code} {answer.text[:2000]}")
    return answer


def refusal(answer: httpx.Response, status: int) -> list[tuple[str, str]]:
    """(where, words) of each issue of a refusal with this status."""
    assert answer.status_code == status, f"{answer.status_code} {answer.text[:2000]}"
    issues = decoded(answer)["issue"]
    assert {i["severity"] for i in issues} == {"error"}
    return [(next(iter(i.get("expression", [])), ""), i["details"]["text"]) for i in issues]


def references(answer: httpx.Response) -> dict[str, str]:
    """type -> id of the resources that a transaction wrote or found (the last of each type)."""
    entries = decoded(taken(answer))["entry"]
    located = [e["response"]["location"].partition("/fhir/")[2].split("/") for e in entries]
    return {type_: id_ for type_, id_, *_ in located}


def result(answer: httpx.Response) -> Json:
    """The Parameters of an answer by name: the reference, or all the words under it."""
    told: Json = {}
    for part in decoded(answer)["parameter"]:
        if "valueReference" in part:
            told[part["name"]] = part["valueReference"]["reference"]
        else:
            told.setdefault(part["name"], []).append(part["valueString"])
    return told


def found(client: httpx.Client, type_: str, **criteria: str) -> list[Json]:
    """All matches of a search, page after page."""
    resources: list[Json] = []
    answer = client.get(type_, params={"_count": "200", **criteria})
    while True:
        page = decoded(taken(answer))
        resources += [e["resource"] for e in page.get("entry", [])]
        following = [link["url"] for link in page["link"] if link["relation"] == "next"]
        if not following:
            return resources
        answer = client.get(following[0])


def charges(desk: Desk, exam: Exam) -> dict[str, str]:
    """The exam's charges: code -> status."""
    found_ = desk.search("ChargeItem", service=_procedure(desk, exam))
    return {item["code"]["coding"][0]["code"]: item["status"] for item in found_}


def _procedure(desk: Desk, exam: Exam) -> str:
    (procedure,) = desk.search("Procedure", **{"based-on": f"ServiceRequest/{exam.order}"})
    return f"Procedure/{procedure['id']}"


def only(resources: Iterable[Json]) -> Json:
    """The one resource there is."""
    (one,) = resources
    return one


def coded(concept: Mapping[str, Any]) -> str:
    """The first code of a CodeableConcept."""
    return str(concept["coding"][0]["code"])
