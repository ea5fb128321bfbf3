"""The reckoning of the kill runs finds each kind of loss and doubling: it is shown some of its own making."""

import time
from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from service.fhir import exact
from tests.builders.instances import BILLING
from tests.builders.lossy import Lossy
from tests.whole.conftest import Worlds
from tests.whole.lanes import Lanes
from tests.whole.reconciling import discrepancies
from tests.whole.telling import Desk, Json


@dataclass
class Run:
    """A short run without kills, come to rest."""

    desk: Desk
    lanes: Lanes
    wire: Lossy

    def wrong(self) -> str:
        return "\n".join(discrepancies(self.desk, self.lanes, self.wire))


@pytest.fixture
def run(worlds: Worlds) -> Iterator[Run]:
    ours, theirs = worlds.of("sqlite")
    slug, records = ours.organization("practice", billing=BILLING), theirs.token(theirs.organization("records"))
    wire = Lossy(f"{theirs.url}/fhir")
    with wire.open(), ours.client(ours.token(slug)) as http, theirs.client(records) as there:
        ours.send_to(slug, wire.url, bearer=records)
        lanes = Lanes(ours, http.headers["Authorization"][7:], there, seed=1, count=2)
        with lanes.running():
            until = time.monotonic() + 20
            while sum(bool(t.withdrawn) for t in lanes.told) < 1 and time.monotonic() < until:
                time.sleep(0.02)
        desk = Desk(ours, slug, http, there)
        desk.delivered()
        yield Run(desk, lanes, wire)


def again_there(run: Run, kind: str) -> None:
    """Let the record system have a resource of ours a second time."""
    one: Json = run.desk.there(kind)[0]
    run.desk.records.post(kind, content=exact.encode({k: v for k, v in one.items() if k != "id"})).raise_for_status()


@pytest.mark.full
def test_a_run_at_peace_agrees_until_something_is_lost_or_doubled(run: Run) -> None:
    assert (run.lanes.faults, run.wrong()) == ([], "")
    for kind in ("DiagnosticReport", "Invoice", "ChargeItem", "Observation"):
        assert f"{kind}: " not in run.wrong()
        again_there(run, kind)
        assert f"{kind}: 0 missing there, 1 too many" in run.wrong()
    key = next(iter(run.wire.bodies))
    run.wire.bodies[key].add("another content")
    assert f"{key} was sent with 2 contents" in run.wrong()
    run.wire.arrived[key] = 0
    assert f"{key} never arrived" in run.wrong()
    first = run.lanes.told[0]
    evidence = first.evidence.popitem()
    assert "pieces of evidence" in run.wrong()
    first.evidence.update([evidence])
    first.finished = first.finished | {"invoice": "Invoice/lost", "report": "DiagnosticReport/lost"}
    assert "acknowledged DiagnosticReport/lost" in run.wrong()
    assert "Invoice/lost" in run.wrong()
    run.lanes.told.remove(first)
    assert "orders stored" in run.wrong()
    assert "posts differ" in run.wrong()
