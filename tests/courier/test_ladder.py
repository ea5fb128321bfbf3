"""A promised transaction carried to record systems that take none, whatever their habits are."""

import json
import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import httpx
import pytest

from service import worker
from service.courier.lines import Lines
from service.courier.ports import Settlement
from service.fhir import uris
from tests.courier.records import Records
from tests.courier.twin import Clock, Twin, TwinPost
from tests.whole.foreign_exam import CHARGE, CHIPS, INVOICE, LIVER, ORDER, ORDERS, PATIENT, REPORT, finished, without_id

Json = dict[str, Any]
RUNGS = ("batch", "single", "search")
OURS = {"DiagnosticReport": REPORT, "Observation": LIVER, "ChargeItem": CHARGE, "Invoice": INVOICE}


def records(**habits: Any) -> Records:
    """A record system that has the animal and the order."""
    there = Records(**habits)
    animal = there.add(without_id(PATIENT), "their-animal")
    there.add({**without_id(ORDER), "subject": {"reference": animal}}, "their-order")
    return there


def carry(
    there: Records, rung: str, *, body: bytes = b"", outbox: Twin | None = None, clock: Clock | None = None
) -> Twin:
    """One attempt at everything that is due."""
    outbox = outbox or Twin.of(TwinPost(form=rung, body=body or finished()))
    worker.run(
        outbox,
        stop=threading.Event(),
        until_idle=True,
        lines=Lines(transport=there),
        now=clock or Clock(),
        draw=lambda n: 0,
    )
    return outbox


def told(outbox: Twin) -> Settlement:
    """What became of the last attempt."""
    return outbox.attempts[-1][1]


def the_one(there: Records, type_: str) -> Json:
    (only,) = there.all(type_)
    return only


def all_is_there(there: Records) -> None:
    """The report, its finding, charge and invoice, each once, linked by the record system's own names."""
    for type_, id_ in OURS.items():
        assert {"system": uris.ID, "value": id_} in the_one(there, type_)["identifier"]
    report = the_one(there, "DiagnosticReport")
    assert report["result"] == [{"reference": f"Observation/{the_one(there, 'Observation')['id']}"}]
    assert report["basedOn"] == [{"reference": "ServiceRequest/their-order"}]
    for type_ in OURS:
        assert the_one(there, type_)["subject"] == {"reference": "Patient/their-animal"}
    charge = the_one(there, "Invoice")["lineItem"][0]["chargeItemReference"]
    assert charge == {"reference": f"ChargeItem/{the_one(there, 'ChargeItem')['id']}"}


@pytest.mark.parametrize("rung", RUNGS)
def test_everything_arrives_once_and_linked_and_again_it_is_the_same(rung: str) -> None:
    there = records(conditional=rung != "search", batch=rung == "batch")
    assert told(carry(there, rung)).state == "delivered"
    all_is_there(there)
    before = {name: one["meta"]["versionId"] for name, one in there.kept.items()}
    assert told(carry(there, rung)).state == "delivered"
    all_is_there(there)
    assert set(there.kept) == set(before), "nothing new"


@pytest.mark.parametrize("rung", RUNGS)
def test_an_amended_report_is_the_next_version_of_the_same_resource(rung: str) -> None:
    there = records(conditional=rung != "search")
    carry(there, rung)
    first = the_one(there, "DiagnosticReport")
    assert told(carry(there, rung, body=finished(status="amended"))).state == "delivered"
    second = the_one(there, "DiagnosticReport")
    assert (second["id"], second["status"], second["meta"]["versionId"]) == (first["id"], "amended", "2")


def _at_write(
    nth: int, answer: httpx.Response | Exception
) -> Callable[[httpx.Request, httpx.Response], httpx.Response]:
    """The nth write is done and then answered like this instead."""
    count = [0]

    def habit(request: httpx.Request, real: httpx.Response) -> httpx.Response:
        count[0] += request.method != "GET"
        if count[0] != nth or request.method == "GET":
            return real
        if isinstance(answer, Exception):
            raise answer
        return answer

    return habit


@pytest.mark.parametrize("rung", RUNGS)
@pytest.mark.parametrize("answer", [httpx.ReadError("lost"), httpx.Response(503, text="later")], ids=["lost", "503"])
def test_an_answer_lost_on_the_way_leads_to_no_second_resource(rung: str, answer: httpx.Response | Exception) -> None:
    for nth in range(1, 5 if rung != "batch" else 4):
        there = records(conditional=rung != "search")
        there.habit = _at_write(nth, answer)
        outbox, clock = carry(there, rung), Clock()
        assert (told(outbox).state, outbox.posts["0001"].state) == ("waiting", "waiting")
        clock.pass_(timedelta(seconds=5))
        carry(there, rung, outbox=outbox, clock=clock)
        assert told(outbox).state == "delivered", told(outbox)
        all_is_there(there)


def _location(words: Callable[[str], str]) -> Callable[[httpx.Request, httpx.Response], httpx.Response]:
    def habit(request: httpx.Request, real: httpx.Response) -> httpx.Response:
        if "Location" not in real.headers:
            return real
        name = real.headers["Location"].removeprefix("http://records.test/fhir/").split("/_history")[0]
        headers = {"Location": words(name)} if words(name) else {}
        return httpx.Response(real.status_code, headers=headers)  # and an empty body

    return habit


HABITS: dict[str, Callable[[httpx.Request, httpx.Response], httpx.Response]] = {
    "relative Location": _location(lambda name: f"{name}/_history/1"),
    "Location from the root": _location(lambda name: f"/fhir/{name}"),
    "the id alone": _location(lambda name: name.split("/")[1]),
    "another host's name": _location(lambda name: f"https://inside.records.test:8443/r4/{name}/_history/7"),
    "neither Location nor body": _location(lambda name: ""),
    "Location that leads nowhere": _location(lambda name: "https://records.test/thanks/"),
    "unquoted ETag": lambda request, real: httpx.Response(
        real.status_code,
        headers={**real.headers, "ETag": real.headers.get("ETag", "").strip('W/"')},
        content=real.content,
    ),
}


@pytest.mark.parametrize("rung", ["single", "search"])
@pytest.mark.parametrize("habit", HABITS)
def test_a_record_system_with_habits_of_its_own_gets_everything_all_the_same(rung: str, habit: str) -> None:
    there = records(conditional=rung == "single")
    there.habit = HABITS[habit]
    assert told(carry(there, rung)).state == "delivered"
    all_is_there(there)
    assert told(carry(there, rung, body=finished(status="amended"))).state == "delivered"
    all_is_there(there)
    assert the_one(there, "DiagnosticReport")["status"] == "amended"


def test_what_is_put_under_an_id_bears_that_id_and_is_bound_to_the_version_that_was_read() -> None:
    there = records(conditional=False)
    carry(there, "search")
    there.asked.clear()
    there.headers.clear()
    carry(there, "search", body=finished(status="amended"))
    puts = [
        (target, headers)
        for (method, target), headers in zip(there.asked, there.headers, strict=True)
        if method == "PUT"
    ]
    assert len(puts) == len(OURS)
    for target, headers in puts:
        assert there.kept[target]["id"] == target.split("/")[1]
        assert headers["If-Match"] == 'W/"1"'
        assert "Idempotency-Key" not in headers, "the key is of the whole post, and these bytes are not"


def test_a_server_that_wants_the_version_named_is_told_it() -> None:
    there = records(conditional=False)
    there.before = lambda request: (
        httpx.Response(428) if request.method == "PUT" and "If-Match" not in request.headers else None
    )
    outbox = carry(there, "search")
    outbox.posts["0002"] = TwinPost(id="0002", form="search", key="again", body=finished(status="amended"))
    assert told(carry(there, "search", outbox=outbox)).state == "delivered"
    assert the_one(there, "DiagnosticReport")["status"] == "amended"


def test_a_name_that_is_known_spares_the_search_and_is_forgotten_when_it_leads_nowhere() -> None:
    there = records(conditional=False)
    outbox = carry(there, "search")
    assert (
        outbox.names["records", f"Observation?identifier={uris.ID}|{LIVER}"]
        == f"Observation/{the_one(there, 'Observation')['id']}"
    )
    moved = the_one(there, "Observation")
    del there.kept[f"Observation/{moved['id']}"]  # restored elsewhere: the same content under another id
    there.add(moved, "moved")
    outbox.posts["0002"] = TwinPost(id="0002", form="search", key="again", body=finished(status="amended"))
    there.asked.clear()
    carry(there, "search", outbox=outbox)
    assert told(outbox).state == "delivered"
    assert the_one(there, "Observation")["id"] == "moved"
    assert the_one(there, "DiagnosticReport")["result"] == [{"reference": "Observation/moved"}]
    searched = [
        target for method, target in there.asked if method == "GET" and not target.startswith(("Patient", "Service"))
    ]
    assert [target.split("?")[0] for target in searched] == ["Observation"]


@pytest.mark.parametrize("rung", RUNGS)
@pytest.mark.parametrize(("count", "words"), [(0, "no Patient"), (2, "2 resources of the type Patient")])
def test_an_animal_it_has_not_or_twice_makes_a_dead_letter_that_says_so_and_nothing_is_written(
    rung: str, count: int, words: str
) -> None:
    there = Records(conditional=rung != "search")
    there.add(without_id(ORDER), "their-order")
    for _ in range(count):
        there.add(without_id(PATIENT))
    outbox = carry(there, rung)
    assert told(outbox).state == "dead"
    assert words in told(outbox).reason
    assert {type_ for type_ in OURS if there.all(type_)} == set()


@pytest.mark.parametrize("rung", RUNGS)
def test_an_identifier_that_two_of_its_resources_bear_is_a_persons_to_mend(rung: str) -> None:
    there = records(conditional=rung != "search")
    for _ in range(2):
        there.add({"resourceType": "Observation", "identifier": [{"system": uris.ID, "value": LIVER}]})
    outbox = carry(there, rung)
    assert told(outbox).state == "dead"
    assert "2 resources there bear its identifier" in told(outbox).reason or "412" in told(outbox).reason
    assert len(there.all("Observation")) == 2


@pytest.mark.parametrize("rung", RUNGS)
def test_a_search_that_answers_with_everything_it_has_is_not_believed(rung: str) -> None:
    there = records(conditional=rung != "search")
    there.add({"resourceType": "Patient", "identifier": [{"system": CHIPS, "value": "someone-else"}]})

    def all_of_it(request: httpx.Request) -> httpx.Response | None:
        if request.method != "GET":
            return None
        type_ = request.url.path.rsplit("/", 1)[1]
        entries = [{"resource": one} for one in there.all(type_)]
        return httpx.Response(200, json={"resourceType": "Bundle", "type": "searchset", "entry": entries})

    there.before = all_of_it
    outbox = carry(there, rung)
    assert told(outbox).state == "dead"
    assert "not what was sought" in told(outbox).reason
    assert {type_ for type_ in OURS if there.all(type_)} == set()


@pytest.mark.parametrize("rung", RUNGS)
def test_a_refusal_in_plain_words_is_kept_and_the_dead_letter_names_the_entry(rung: str) -> None:
    there = records(conditional=rung != "search")

    def refuses(request: httpx.Request, real: httpx.Response) -> httpx.Response:
        if request.method == "GET" or b'"ChargeItem"' not in request.content:
            return real
        if rung == "batch":
            content = json.loads(real.content)
            content["entry"][-1] = {"response": {"status": "422 Unprocessable"}}
            return httpx.Response(200, json=content)
        return httpx.Response(422, text="we charge nobody", headers={"Content-Type": "text/plain"})

    there.habit = refuses
    outbox = carry(there, rung)
    assert told(outbox).state == "dead"
    assert "(ChargeItem)" in told(outbox).reason
    assert "422" in told(outbox).reason
    assert told(outbox).answer == "we charge nobody" or rung == "batch"
    assert len(there.all("Observation")) == 1, "what went before stays; a replay finds it"


def test_a_conflict_that_somebody_else_won_is_looked_up_before_it_counts() -> None:
    there = records()

    def conflict(request: httpx.Request, real: httpx.Response) -> httpx.Response:
        return (
            httpx.Response(409, text="conflict")
            if b'"Observation"' in request.content and request.method == "PUT"
            else real
        )

    there.habit = conflict  # it is written, and yet a conflict is told: the race was won by ourselves
    outbox = carry(there, "single")
    assert told(outbox).state == "delivered"
    all_is_there(there)


def test_a_batch_with_entries_that_failed_for_a_moment_is_tried_again() -> None:
    there, failed = records(), []

    def busy(request: httpx.Request, real: httpx.Response) -> httpx.Response:
        if request.method == "GET" or failed:
            return real
        failed.append(1)
        content = json.loads(real.content)
        content["entry"][0] = {"response": {"status": "503 Service Unavailable"}}
        return httpx.Response(200, json=content)

    there.habit = busy
    outbox, clock = carry(there, "batch"), Clock()
    assert (told(outbox).state, told(outbox).status) == ("waiting", 200)
    clock.pass_(timedelta(seconds=5))
    carry(there, "batch", outbox=outbox, clock=clock)
    assert told(outbox).state == "delivered"
    all_is_there(there)


def test_digits_arrive_as_they_are_on_every_rung() -> None:
    for rung in RUNGS:
        there, seen = records(conditional=rung != "search"), []
        there.before = lambda request, seen=seen: seen.append(request.content)  # type: ignore[misc,func-returns-value]
        carry(there, rung)
        assert any(b'"value":0.40' in content for content in seen), rung
        assert any(b'"value":120.00' in content for content in seen), rung
    assert ORDERS
