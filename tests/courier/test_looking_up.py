"""A transaction answered with 409 or 412 is looked up before anything follows from it."""

import json
import threading
from typing import Any

import httpx
import pytest

from service import worker
from service.courier.lines import Lines
from service.courier.ports import Settlement
from service.fhir import uris
from tests.courier.records import Records
from tests.courier.test_ladder import OURS, records
from tests.courier.twin import Clock, Twin, TwinPost
from tests.whole.foreign_exam import LIVER, ORDER, finished, without_id

SENT = {one["resource"]["resourceType"]: one["resource"] for one in json.loads(finished())["entry"]}


def told(there: Records, status: int) -> Settlement:
    """What follows when the transaction itself is answered like this."""

    def refuse(request: httpx.Request) -> httpx.Response | None:
        return httpx.Response(status, text="no") if request.method == "POST" else None

    there.before = refuse
    outbox = Twin.of(TwinPost(body=finished()))
    lines = Lines(transport=there)
    worker.run(outbox, stop=threading.Event(), until_idle=True, lines=lines, now=Clock(), draw=lambda n: 0)
    ((_, settlement),) = outbox.attempts
    return settlement


def having(**changed: Any) -> Records:
    """A record system that has all of it, with these elements of the finding changed."""
    there = records()
    for type_ in OURS:
        there.add({**SENT[type_], **(changed if type_ == "Observation" else {})})
    return there


@pytest.mark.parametrize("status", [409, 412])
def test_what_is_there_as_sent_was_delivered(status: int) -> None:
    settlement = told(having(), status)
    assert (settlement.state, settlement.status, settlement.answer) == ("delivered", status, "no")
    assert "all 4 entries are there" in settlement.reason


@pytest.mark.parametrize(("status", "state"), [(409, "waiting"), (412, "dead")])
def test_what_is_there_otherwise_was_not(status: int, state: str) -> None:
    settlement = told(having(valueQuantity={"value": 0.41, "unit": "mm"}), status)
    assert settlement.state == state
    assert "of 4 entries 0 are not there and 1 are there otherwise" in settlement.reason


@pytest.mark.parametrize(("status", "state"), [(409, "waiting"), (412, "dead")])
def test_what_is_not_there_was_not(status: int, state: str) -> None:
    settlement = told(records(), status)
    assert settlement.state == state
    assert "4 are not there" in settlement.reason


@pytest.mark.parametrize("status", [409, 412])
def test_an_identifier_borne_twice_is_named(status: int) -> None:
    there = having()
    there.add({"resourceType": "Observation", "identifier": [{"system": uris.ID, "value": LIVER}]})
    settlement = told(there, status)
    assert settlement.state == "dead"
    assert "2 resources there bear the identifier of entry[0] (Observation)" in settlement.reason


def test_an_animal_that_is_not_there_is_named() -> None:
    there = Records()
    there.add(without_id(ORDER))
    settlement = told(there, 412)
    assert settlement.state == "dead"
    assert "no Patient for what the post refers to" in settlement.reason


def test_a_look_that_finds_the_door_shut_waits() -> None:
    there = records()
    there.habit = lambda request, real: httpx.Response(503) if request.method == "GET" else real
    settlement = told(there, 412)
    assert (settlement.state, settlement.status) == ("waiting", 412)


def test_a_search_that_is_refused_ends_as_a_dead_letter_with_both_reasons() -> None:
    there = records()
    there.habit = lambda request, real: httpx.Response(403) if request.method == "GET" else real
    settlement = told(there, 409)
    assert settlement.state == "dead"
    assert "answered 409; looked up: the search" in settlement.reason
