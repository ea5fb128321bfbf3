"""kill -9 of service and courier in the middle of their work, over a wire that breaks: nothing lost, nothing twice.

TEST_SEED repeats a run's choices; its figures are printed (pytest -s, or on failure)."""

import os
import random
import sqlite3
import sys
import time
from pathlib import Path

import pytest

from tests.builders.instances import BILLING, Instance
from tests.builders.lossy import Lossy, at_random
from tests.whole.conftest import Worlds
from tests.whole.lanes import Lanes
from tests.whole.reconciling import discrepancies
from tests.whole.telling import Desk

KILLS, FEWEST = 60, 50
HURRIED = "tests.whole.hurried_courier"
SPEED = 6  # how much faster the couriers' clock runs
LONGEST = 300  # seconds of killing, on a machine that is busy with other things; 100 to 160 on two idle cores
AHEAD = 3 * 86_400  # seconds by which the last courier's clock is ahead: every pause is over

pytestmark = pytest.mark.full


def test_nothing_is_lost_and_nothing_doubled(worlds: Worlds, engine: str, tmp_path: Path) -> None:
    seed = int(os.environ.get("TEST_SEED") or random.SystemRandom().randrange(10**6))
    draw = random.Random(seed)
    theirs = worlds.of(engine)[1]
    records = theirs.token(theirs.organization("records"))
    ours = Instance(worlds.database(engine), tmp_path).serve(2)
    slug = ours.organization("practice", billing=BILLING)
    wire = Lossy(f"{theirs.url}/fhir", at_random(seed))
    began = time.time()
    try:
        with (
            wire.open(),
            ours.client(ours.token(slug), judged=False) as http,
            theirs.client(records, judged=False) as there,
        ):
            ours.send_to(slug, wire.url, bearer=records)
            for _ in range(2):
                ours.work(HURRIED, str(began), str(SPEED), "2")
            lanes = Lanes(ours, http.headers["Authorization"][7:], there, seed=seed)
            with lanes.running():
                killed = kill(ours, draw, lanes)
            desk = Desk(ours, slug, http, there)
            drained = drain(desk, wire)
            wrong = [*lanes.faults, *discrepancies(desk, lanes, wire)]
        figures = {
            "engine": engine,
            "seed": seed,
            "kills": killed,
            "exams": len(lanes.told),
            "amended": sum(bool(t.amended) for t in lanes.told),
            "withdrawn": sum(bool(t.withdrawn) for t in lanes.told),
            "without an answer": dict(lanes.unanswered),
            "messages": len(wire.bodies),
            "attempts": dict(wire.became),
            "taken again": sum(n - 1 for n in wire.arrived.values() if n > 1),
            "seconds": round(time.time() - began),
            "drained in": round(drained, 1),
            "wrong": len(wrong),
        }
        sys.stdout.write(f"{figures}\n")
        assert wrong[:30] == []
        assert sum(killed.values()) >= FEWEST
        assert figures["taken again"] >= 20, "too few lost answers: the run proves nothing"
        assert sum(lanes.unanswered.values()) >= 10, "too few requests were cut off: the run proves nothing"
        assert engine != "sqlite" or sound(ours)
    finally:
        ours.close()


def kill(ours: Instance, draw: random.Random, lanes: Lanes) -> dict[str, int]:
    """Kill one process after another wherever it is, and start it again; how often which kind."""
    killed = {"service": 0, "courier": 0}
    until = time.monotonic() + LONGEST
    while sum(killed.values()) < KILLS and time.monotonic() < until and not lanes.faults:
        kind = draw.choices(("service", "courier"), (2, 3))[0]  # a service takes its time to start again
        victim = draw.choice(ours.servers if kind == "service" else ours.couriers)
        time.sleep(draw.uniform(0.05, 0.8))
        victim.kill()
        victim.start()
        killed[kind] += 1
        for server in ours.servers:
            server.ready()
    return killed


def drain(desk: Desk, wire: Lossy) -> float:
    """Let all that was promised arrive over a sound wire; the seconds it took."""
    for courier in desk.instance.couriers:
        courier.stop()
    wire.choose = str
    began = time.monotonic()
    # its clock was set, for all it can tell: what the dead held it takes after the time of a lease, 15 s by the wall
    desk.instance.work(HURRIED, str(time.time() - AHEAD / (SPEED - 1)), str(SPEED), "5")
    desk.delivered(within=90)
    return time.monotonic() - began


def sound(ours: Instance) -> bool:
    """Whether SQLite finds nothing wrong with its file."""
    with sqlite3.connect(ours.database.removeprefix("sqlite:///")) as connection:
        return connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
