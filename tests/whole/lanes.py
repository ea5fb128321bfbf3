"""Clients that never give up: each plays exams end to end and repeats whatever had no answer, until it has one."""

import random
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import httpx

from service.fhir import exact
from tests.builders import orders
from tests.builders.instances import Instance
from tests.builders.orders import entry, parameters, transaction
from tests.builders.scanner import Scanner
from tests.whole.telling import Json, decoded, found, references, result

SIGNED = {"interpreter": "Dr I. Reader", "conclusion": "No abnormality seen."}
AMENDED = {"status": "appended", "reason": "A word was missing.", "by": "Dr I. Reader", "conclusion": "Recheck."}
WITHDRAWN = {"reason": "Wrong animal.", "by": "Dr I. Reader"}
SCANNER = "https://scanner.example/evidence"
Send = Callable[[httpx.Client], httpx.Response]


@dataclass
class Told:
    """What the service acknowledged of one exam: the answers as they came."""

    order: str = ""
    exam: str = ""
    evidence: dict[str, str] = field(default_factory=dict)  # business number -> id
    finished: Json = field(default_factory=dict)
    amended: Json = field(default_factory=dict)
    withdrawn: Json = field(default_factory=dict)


class Lanes:
    """Several clients at work over all servers of an instance. `there` takes what a record system owns."""

    def __init__(self, instance: Instance, bearer: str, there: httpx.Client, *, seed: int, count: int = 4) -> None:
        self.instance, self.bearer, self.there = instance, bearer, there
        self.told: list[Told] = []
        self.unanswered: Counter[str] = Counter()  # by what was asked
        self.differing: list[str] = []  # repeats whose answer was another one
        self.faults: list[str] = []
        self.ended = threading.Event()
        self._lock = threading.Lock()
        self._threads = [threading.Thread(target=self._lane, args=(random.Random(seed + n),)) for n in range(count)]

    @contextmanager
    def running(self) -> Iterator["Lanes"]:
        """At work until the end of the with; each lane ends the exam that it is at."""
        for thread in self._threads:
            thread.start()
        try:
            yield self
        finally:
            self.ended.set()
            for thread in self._threads:
                thread.join()

    def _lane(self, draw: random.Random) -> None:
        clients = [self.instance.client(self.bearer, server=n, judged=False) for n in range(len(self.instance.servers))]
        try:
            while not self.ended.is_set() and not self.faults:
                self._exam(clients, draw)
        except Exception as fault:  # a lane that ends in silence would pass for one that had nothing to say
            self.faults.append(f"{type(fault).__name__}: {fault}")
        finally:
            for client in clients:
                client.close()

    def _exam(self, clients: list[httpx.Client], draw: random.Random) -> None:
        whole = exact.encode(orders.bundle(service="fluid-check"))
        with self._lock:
            self.there.post("", content=whole).raise_for_status()
        told = Told()
        made = references(self._ask(clients, draw, "order", lambda c: c.post("", content=whole)))
        told.order = made["ServiceRequest"]
        with self._lock:
            self.told.append(told)
        scanner = Scanner(told.order, made["Patient"])
        steps = self._search(clients, draw, focus=f"ServiceRequest/{told.order}")
        told.exam = next(s["id"] for s in steps if "partOf" not in s)
        while ready := self._search(clients, draw, **{"part-of": f"Task/{told.exam}", "status": "ready"}):
            self._evidence(clients, draw, told, scanner.everything(ready))
        told.finished = self._operate(clients, draw, told.exam, "finish", SIGNED)
        if draw.random() < 0.3:
            told.amended = self._operate(clients, draw, told.exam, "amend", AMENDED)
        if draw.random() < 0.2:
            told.withdrawn = self._operate(clients, draw, told.exam, "withdraw", WITHDRAWN)

    def _evidence(self, clients: list[httpx.Client], draw: random.Random, told: Told, resources: list[Json]) -> None:
        named = [r | {"identifier": [{"system": SCANNER, "value": orders.number("e")}]} for r in resources]
        body = exact.encode(transaction(entry(r, once=True) for r in named))
        answer = self._ask(clients, draw, "evidence", lambda c: c.post("", content=body))
        for one, response in zip(named, decoded(answer)["entry"], strict=True):
            told.evidence[one["identifier"][0]["value"]] = response["response"]["location"].split("/fhir/")[1]

    def _operate(self, clients: list[httpx.Client], draw: random.Random, exam: str, name: str, said: Any) -> Json:
        body = exact.encode(parameters(said))
        ask: Send = lambda c: c.post(f"Task/{exam}/${name}", content=body)  # noqa: E731
        answer = result(self._ask(clients, draw, name, ask))
        if draw.random() < 0.2 and result(self._ask(clients, draw, f"{name} again", ask)) != answer:
            self.differing.append(f"{name} of {exam}")
        return answer

    def _search(self, clients: list[httpx.Client], draw: random.Random, **criteria: str) -> list[Json]:
        while True:
            try:
                return found(draw.choice(clients), "Task", **criteria)
            except (httpx.TransportError, AssertionError):
                time.sleep(0.05)

    def _ask(self, clients: list[httpx.Client], draw: random.Random, what: str, send: Send) -> httpx.Response:
        """The answer, however often it has to be asked for; a refusal is a fault of the run."""
        until = time.monotonic() + 90
        while time.monotonic() < until:
            try:
                answer = send(draw.choice(clients))
            except httpx.ConnectError:
                time.sleep(0.05)
                continue
            except httpx.TransportError:
                self.unanswered[what] += 1
                continue
            if answer.status_code < 500:
                return answer.raise_for_status() if answer.is_success else _refused(what, answer)
            self.unanswered[f"{what}: {answer.status_code}"] += 1
            time.sleep(0.05)
        raise AssertionError(f"no answer to {what}")


def _refused(what: str, answer: httpx.Response) -> httpx.Response:
    raise AssertionError(f"{what} was refused: {answer.status_code} {answer.text[:500]}")
