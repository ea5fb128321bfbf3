"""SIGTERM under load: what was acknowledged is kept, what is being answered is finished, and the end comes soon."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from tests.builders import orders
from tests.builders.instances import BILLING, Instance
from tests.builders.lossy import Lossy
from tests.whole.conftest import Worlds
from tests.whole.telling import Desk, Exam, found

pytestmark = pytest.mark.sqlite_first

SOON = 10.0  # seconds
ROUNDS = [1, pytest.param(10, marks=pytest.mark.full)]


class Load:
    """Callers that post animals until they are told to stop; keeps what was acknowledged and what has no answer."""

    def __init__(self, instance: Instance, bearer: str, callers: int = 8) -> None:
        self.instance, self.bearer = instance, bearer
        self.acknowledged: set[str] = set()
        self.unknown: set[str] = set()
        self.refused: list[int] = []
        self.ended = threading.Event()
        self.threads = [threading.Thread(target=self._call) for _ in range(callers)]

    @contextmanager
    def running(self) -> Iterator["Load"]:
        """Callers at work until the end of the with."""
        for thread in self.threads:
            thread.start()
        try:
            yield self
        finally:
            self.ended.set()
            for thread in self.threads:
                thread.join()

    def _call(self) -> None:
        with self.instance.client(self.bearer, judged=False) as client:
            while not self.ended.is_set():
                chip = orders.number("chip")
                try:
                    answer = client.post("Patient", json=orders.patient(chip))
                except httpx.ConnectError:  # it was never sent
                    time.sleep(0.01)
                except httpx.TransportError:
                    self.unknown.add(chip)
                else:
                    (self.acknowledged.add if answer.status_code == 201 else lambda _: None)(chip)
                    self.refused += [answer.status_code] if answer.status_code not in (201, 503) else []


@pytest.mark.parametrize("rounds", ROUNDS)
def test_the_service_keeps_what_it_acknowledged_and_exits_soon(
    worlds: Worlds, engine: str, tmp_path: Path, rounds: int
) -> None:
    instance = Instance(worlds.database(engine), tmp_path).serve()
    bearer = instance.token(instance.organization("practice", billing=BILLING))
    load = Load(instance, bearer)
    try:
        for round_ in range(1, rounds + 1):
            with Load.running(load):
                until = time.monotonic() + SOON
                while len(load.acknowledged) < 40 * round_ and time.monotonic() < until:
                    time.sleep(0.01)
                code, seconds = instance.servers[0].stop()
            assert (code, seconds < SOON) == (0, True)
            load = _again(load)
            instance.servers[0].start()
            instance.servers[0].ready()
        with instance.client(bearer, judged=False) as client:
            kept = [a["identifier"][0]["value"] for a in found(client, "Patient")]
        assert len(kept) == len(set(kept))
        assert load.acknowledged <= set(kept) <= load.acknowledged | load.unknown
        assert len(load.acknowledged) >= 40 * rounds
        assert load.refused == []
    finally:
        instance.close()


def _again(load: Load) -> Load:
    """The same callers, rested; they remember."""
    fresh = Load(load.instance, load.bearer)
    fresh.acknowledged, fresh.unknown, fresh.refused = load.acknowledged, load.unknown, load.refused
    return fresh


@pytest.mark.full
@pytest.mark.parametrize("apart", [True, False])
def test_a_courier_gives_back_what_is_on_its_way(worlds: Worlds, engine: str, tmp_path: Path, apart: bool) -> None:
    """Apart or within `serve --with-courier`: the next one carries at once, without waiting for a lease to run out."""
    theirs = worlds.of(engine)[1]
    records = theirs.token(theirs.organization("records"))
    ours = Instance(worlds.database(engine), tmp_path)
    ours.serve(1, *([] if apart else ["--with-courier"]))
    slug = ours.organization("practice", billing=BILLING)
    hanging = ["hang"] * 3
    wire = Lossy(f"{theirs.url}/fhir", lambda: hanging.pop() if hanging else "")
    try:
        with wire.open(), ours.client(ours.token(slug)) as http, theirs.client(records) as there:
            ours.send_to(slug, wire.url, bearer=records)
            desk = Desk(ours, slug, http, there)
            if apart:
                ours.work()
            for exam in [_finishable(desk) for _ in range(3)]:
                desk.finish(exam)
            until = time.monotonic() + SOON
            while wire.became["hang"] < 3 and time.monotonic() < until:
                time.sleep(0.01)
            code, seconds = (ours.couriers if apart else ours.servers)[0].stop()
            assert (code, seconds < SOON) == (0, True), seconds
            began = time.monotonic()
            ours.work()
            desk.delivered(within=30)
            assert time.monotonic() - began < 20  # a lease lasts 90 seconds
            assert len(desk.there("DiagnosticReport")) == 3
            assert wire.together == {}
    finally:
        ours.close()


def _finishable(desk: Desk) -> Exam:
    whole = orders.bundle(service="fluid-check")
    desk.known_there(whole)
    exam = desk.place(whole)
    desk.survey(exam)
    return exam
