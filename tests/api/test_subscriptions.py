"""Subscriptions in both R4 styles over HTTP, carried by a courier to a subscriber: what is asked, told and withheld."""

import json
import os
import threading
import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest

from service import worker
from service.access import tokens
from service.actions import watch_subscriptions
from service.actions.ports import House
from service.catalogue.files import read_folder
from service.catalogue.load import Catalogues, load
from service.courier.round import Tally
from service.fhir.validate import check
from service.joined import application
from service.store import SqlBooks
from tests.api import running
from tests.builders.subscriber import Subscriber, plain, subscriber

Json = dict[str, Any]
OURS = "https://sonoledger.example/fhir"
BACKPORT = "http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition"
EXAM = f"{OURS}/SubscriptionTopic/exam"
BASE = "http://sonoledger.example/fhir"


@dataclass
class Practice:
    """A practice, its client, and what else goes on in the service."""

    http: httpx.Client
    slug: str
    books: SqlBooks
    house: House

    def carry(self, *, now: datetime | None = None) -> Tally:
        """A courier until nothing is due."""
        clock = {} if now is None else {"now": lambda: now}
        return worker.run(self.books, stop=threading.Event(), until_idle=True, private={"127.0.0.1"}, **clock)

    def look(self, *, now: datetime | None = None) -> int:
        return watch_subscriptions.look(self.house, self.slug, now=now)

    def post(self, resource: Json, status: int = 201) -> Json:
        answer = self.http.post(f"/fhir/{resource['resourceType']}", json=resource, headers=JSON)
        assert answer.status_code == status, answer.text
        return dict(answer.json())

    def put(self, resource: Json, status: int = 200) -> Json:
        place = f"/fhir/{resource['resourceType']}/{resource['id']}"
        match = {"If-Match": f'W/"{resource["meta"]["versionId"]}"'} if "meta" in resource else {}
        answer = self.http.put(place, json=resource, headers=JSON | match)
        assert answer.status_code == status, answer.text
        return dict(answer.json())

    def get(self, path: str, status: int = 200) -> Json:
        answer = self.http.get(f"/fhir/{path}")
        assert answer.status_code == status, answer.text
        return dict(answer.json())

    def animal(self, **more: Any) -> Json:
        return self.post(ANIMAL | more)

    def active(self, wanted: Json) -> Json:
        """A Subscription whose handshake was taken."""
        made = self.post(wanted)
        self.carry()
        self.look()
        return self.get(f"Subscription/{made['id']}")


@pytest.fixture(scope="module")
def served(module_books: SqlBooks) -> Iterator[tuple[str, House]]:
    catalogue = load(read_folder())
    app = application(module_books, catalogue, base=BASE, private=("127.0.0.1",))
    with running.served(app) as url:
        yield url, House(module_books, Catalogues(catalogue, module_books.catalogue_text), BASE)


@pytest.fixture
def enter(served: tuple[str, House], module_books: SqlBooks) -> Iterator[Callable[..., Practice]]:
    made: list[Practice] = []

    def open_(*scopes: str, kind: str = "practice", slug: str = "") -> Practice:
        name = slug or f"practice-{uuid.uuid4().hex[:12]}"
        token = running.register(module_books, name, *scopes, kind=kind)
        made.append(Practice(running.client(served[0], token), name, module_books, served[1]))
        return made[-1]

    yield open_
    for one in made:
        one.http.close()


@pytest.fixture
def practice(enter: Callable[..., Practice]) -> Practice:
    return enter()


@pytest.fixture
def hook() -> Iterator[Subscriber]:
    with subscriber() as made:
        yield made


FOLDER = Path(os.environ.get("HL7_EXAMPLES") or Path(__file__).parents[3] / "shared" / "fhir-r4-examples")
hl7 = pytest.mark.skipif(not FOLDER.is_dir(), reason=f"HL7's examples are not at {FOLDER}; HL7_EXAMPLES may name them")
JSON = {"Content-Type": "application/fhir+json", "Prefer": "return=representation"}
ANIMAL: Json = {
    "resourceType": "Patient",
    "name": [{"text": "Bramble"}],
    "extension": [
        {
            "url": "http://hl7.org/fhir/StructureDefinition/patient-animal",
            "extension": [
                {
                    "url": "species",
                    "valueCodeableConcept": {"coding": [{"system": "http://snomed.info/sct", "code": "448771007"}]},
                }
            ],
        }
    ],
}


def plain_one(url: str, criteria: str = "Patient?gender=female", **channel: Any) -> Json:
    """R4's own style."""
    rest = {"type": "rest-hook", "endpoint": url, "payload": "application/fhir+json"} | channel
    return {
        "resourceType": "Subscription",
        "status": "requested",
        "reason": "A test",
        "criteria": criteria,
        "channel": {key: value for key, value in rest.items() if value is not None},
    }


def topical(
    url: str, *, content: str = "id-only", topic: str = EXAM, filters: list[str] | None = None, **numbers: int
) -> Json:
    """By topic, as the backport has it."""
    made = plain_one(
        url, topic, _payload={"extension": [{"url": f"{BACKPORT}/backport-payload-content", "valueCode": content}]}
    )
    if filters:
        made["_criteria"] = {
            "extension": [{"url": f"{BACKPORT}/backport-filter-criteria", "valueString": one} for one in filters]
        }
    names = {
        "heartbeat": ("heartbeat-period", "valueUnsignedInt"),
        "timeout": ("timeout", "valueUnsignedInt"),
        "most": ("max-count", "valuePositiveInt"),
    }
    if numbers:
        made["channel"]["extension"] = [
            {"url": f"{BACKPORT}/backport-{names[name][0]}", names[name][1]: value} for name, value in numbers.items()
        ]
    return made


def task(animal: Json, number: str) -> Json:
    """A Task that the topic is about."""
    return {
        "resourceType": "Task",
        "status": "requested",
        "intent": "order",
        "code": {"coding": [{"system": "http://hl7.org/fhir/CodeSystem/task-code", "code": "fulfill"}]},
        "identifier": [{"system": "https://records.example/orders", "value": number}],
        "for": {"reference": f"Patient/{animal['id']}"},
    }


def test_r4s_own_style_puts_each_version_that_fits(practice: Practice, hook: Subscriber) -> None:
    # R4, Subscription: with a payload the resource itself is sent, PUT [endpoint]/[type]/[id]
    made = practice.post(plain_one(hook.url, header=["Authorization: Bearer a-secret", "X-Practice: One"]))
    assert made["status"] == "active"
    assert made["channel"]["header"] == ["Authorization: ***", "X-Practice: ***"]
    animal = practice.animal(gender="female")
    practice.animal(gender="male")
    changed = practice.put(animal | {"birthDate": "2020-01-02"})
    practice.put(changed | {"gender": "male"})
    assert practice.carry().delivered == 2
    assert [(one.method, one.path) for one in hook.told] == [("PUT", f"/hook/Patient/{animal['id']}")] * 2
    assert [one.json for one in hook.told] == [animal, changed]
    for one in hook.told:
        assert one.headers["authorization"] == "Bearer a-secret"
        assert one.headers["x-practice"] == "One"
        assert one.headers["content-type"] == "application/fhir+json"


def test_without_a_payload_it_is_a_call_without_content(practice: Practice, hook: Subscriber) -> None:
    practice.post(plain_one(hook.url, payload=None))
    practice.animal(gender="female")
    assert practice.carry().delivered == 1
    assert [(one.method, one.path, one.body) for one in hook.told] == [("POST", "/hook", b"")]


def test_no_answer_of_the_service_ever_bears_a_header_of_the_channel(practice: Practice, hook: Subscriber) -> None:
    made = practice.post(plain_one(hook.url, header=["Authorization: Bearer canary-7d1"]))
    kept = practice.put(made | {"reason": "Another"})
    assert kept["status"] == "active"
    practice.animal(gender="female")
    practice.carry()
    assert hook.told[-1].headers["authorization"] == "Bearer canary-7d1", (
        "masked again, it is still the one that is kept"
    )
    for path in (
        "Subscription",
        f"Subscription/{made['id']}/_history",
        f"Subscription/{made['id']}/$status",
        "_history",
    ):
        assert "canary-7d1" not in practice.http.get(f"/fhir/{path}").text, path
    other = plain_one(hook.url, header=["X-Other: ***"]) | {"id": made["id"]}
    refused = practice.put(other | {"meta": kept["meta"]}, 422)
    assert refused["issue"][0]["expression"] == ["Subscription.channel.header"]


def test_a_topic_begins_with_a_handshake_and_counts_its_events(practice: Practice, hook: Subscriber) -> None:
    # hl7.fhir.uv.subscriptions-backport, channels.md: requested, handshake, then active
    wanted = topical(hook.url, content="full-resource")
    wanted["channel"]["header"] = ["Authorization: Bearer x"]
    made = practice.post(wanted)
    assert made["status"] == "requested"
    animal = practice.animal()
    practice.post(task(animal, "before the handshake: no event"))
    assert practice.carry().delivered == 1
    (shake,) = hook.told
    assert shake.headers["content-type"] == "application/fhir+json"
    assert shake.headers["authorization"] == "Bearer x"
    assert practice.look() == 1
    assert practice.get(f"Subscription/{made['id']}")["status"] == "active"
    one, two = practice.post(task(animal, "1")), practice.post(task(animal, "2"))
    assert practice.carry().delivered == 2
    assert hook.kinds() == ["handshake", "event-notification", "event-notification"]
    assert [p["status"] for p in hook.parameters()] == ["requested", "active", "active"]
    assert [p["events-since-subscription-start"] for p in hook.parameters()] == ["0", "1", "2"]
    assert [p["notification-event"][0]["event-number"] for p in hook.parameters()[1:]] == ["1", "2"]
    for told, resource in zip(hook.told[1:], (one, two), strict=True):
        first, second = told.json["entry"]
        assert second["fullUrl"] == f"{BASE}/Task/{resource['id']}"
        assert second["resource"] == resource
        assert second["request"] == {"method": "POST", "url": "Task"}
        assert first["request"] == {"method": "GET", "url": f"Subscription/{made['id']}/$status"}
    for told in hook.told:
        assert (told.method, told.path) == ("POST", "/hook")
        assert told.json["type"] == "history"
        assert check(told.json) == []


@pytest.mark.parametrize(("content", "focus", "topic"), [("empty", False, False), ("id-only", True, True)])
def test_how_much_is_told(practice: Practice, hook: Subscriber, content: str, focus: bool, topic: bool) -> None:
    practice.active(topical(hook.url, content=content))
    made = practice.post(task(practice.animal(), "1"))
    practice.carry()
    bundle, told = hook.told[-1].json, hook.parameters()[-1]
    assert len(bundle["entry"]) == 1, "no resource comes along"
    assert ("focus" in told["notification-event"][0]) == focus
    assert ("topic" in told) == topic
    assert (made["id"] in json.dumps(bundle)) == focus


def test_filters_narrow_a_topic_and_a_transaction_is_told_in_parts_of_the_size_asked_for(
    practice: Practice, hook: Subscriber
) -> None:
    mine, other = practice.animal(), practice.animal()
    wanted = topical(hook.url, filters=[f"Task?subject=Patient/{mine['id']}", "status=requested"], most=2)
    practice.active(wanted)
    entries = [task(animal, f"{n}") for n in range(3) for animal in (mine, other)]
    bundle = {
        "resourceType": "Bundle",
        "type": "transaction",
        "entry": [{"resource": one, "request": {"method": "POST", "url": "Task"}} for one in entries],
    }
    assert practice.http.post("/fhir", json=bundle, headers=JSON).status_code == 200
    practice.carry()
    numbers = [[e["event-number"] for e in p["notification-event"]] for p in hook.parameters()[1:]]
    assert numbers == [["1", "2"], ["3"]]


def test_only_a_change_of_state_is_an_event_of_an_exam(practice: Practice, hook: Subscriber) -> None:
    practice.active(topical(hook.url, topic=f"{OURS}/SubscriptionTopic/exam"))
    made = practice.post(task(practice.animal(), "1"))
    made = practice.put(made | {"description": "Changed in words alone"})
    practice.put(made | {"status": "accepted"})
    practice.carry()
    assert [p["events-since-subscription-start"] for p in hook.parameters()] == ["0", "1", "2"]


def test_a_handshake_that_is_refused_is_an_error_until_it_is_asked_for_anew(
    practice: Practice, hook: Subscriber
) -> None:
    hook.statuses = [500]
    made = practice.post(topical(hook.url))
    assert practice.carry().dead == 1, "one try and no more"
    practice.look()
    failed = practice.get(f"Subscription/{made['id']}")
    assert (failed["status"], failed["error"]) == ("error", "the handshake was not taken: answered 500")
    again = practice.put(failed | {"status": "requested"})
    assert (again["status"], "error" in again) == ("requested", False)
    practice.carry()
    practice.look()
    assert practice.get(f"Subscription/{made['id']}")["status"] == "active"
    assert hook.kinds() == ["handshake", "handshake"]


def test_a_subscriber_who_is_gone_is_told_no_more_but_everything_is_counted_and_can_be_asked_for(
    practice: Practice, hook: Subscriber
) -> None:
    # backport, errors.md: go on counting, answer $status, let the subscriber ask anew
    one = practice.active(topical(hook.url, content="full-resource"))
    animal = practice.animal()
    first = practice.post(task(animal, "1"))
    hook.statuses = [503, 410]
    practice.carry()
    (status,) = [plain(e["resource"]) for e in practice.get(f"Subscription/{one['id']}/$status")["entry"]]
    assert (status["status"], status["type"], status["error"]) == ("active", "query-status", {"text": "answered 503"})
    practice.carry(now=datetime.now(UTC) + timedelta(minutes=1))
    practice.look()
    gone = practice.get(f"Subscription/{one['id']}")
    assert gone["status"] == "error"
    second = practice.post(task(animal, "2"))
    assert practice.carry() == Tally()
    (status,) = [plain(e["resource"]) for e in practice.get("Subscription/$status?status=error")["entry"]]
    assert status["events-since-subscription-start"] == "2"
    missed = practice.get(f"Subscription/{one['id']}/$events?eventsSinceNumber=1")
    assert [e["resource"] for e in missed["entry"][1:]] == [first, second]
    assert plain(missed["entry"][0]["resource"])["type"] == "query-event"
    fewer = practice.get(f"Subscription/{one['id']}/$events?eventsSinceNumber=2&eventsUntilNumber=2&content=id-only")
    assert [e["event-number"] for e in plain(fewer["entry"][0]["resource"])["notification-event"]] == ["2"]
    assert len(fewer["entry"]) == 1
    practice.put(gone | {"status": "requested"})
    practice.carry()
    practice.look()
    practice.post(task(animal, "3"))
    practice.carry()
    assert [p["events-since-subscription-start"] for p in hook.parameters()[-2:]] == ["2", "3"], "the count goes on"
    for bad in ("eventsSinceNumber=x", "content=all", "eventsUntilNumber=-1"):
        practice.get(f"Subscription/{one['id']}/$events?{bad}", 400)
    practice.get("Subscription/nobody/$status", 404)
    practice.get("Subscription/nobody/$events", 404)


def test_signs_of_life_are_sent_when_all_is_still_and_count_as_no_event(practice: Practice, hook: Subscriber) -> None:
    practice.active(topical(hook.url, heartbeat=60))
    assert practice.look(now=datetime.now(UTC) + timedelta(seconds=30)) == 0
    # the unit of work has a clock of its own, by which nothing is due yet: no sign of life is sent too early
    assert practice.look(now=datetime.now(UTC) + timedelta(seconds=61)) == 1
    assert practice.carry() == Tally()
    with practice.books.begin(practice.slug) as work:
        (one,) = work.subscriptions()
        work.now += timedelta(seconds=61)
        watch_subscriptions.bring_up(work, one.id)
        watch_subscriptions.bring_up(work, one.id)
    practice.carry(now=datetime.now(UTC) + timedelta(seconds=62))
    assert hook.kinds() == ["handshake", "heartbeat"]
    assert hook.parameters()[-1]["events-since-subscription-start"] == "0"


def test_it_ends_when_it_says_so_or_is_switched_off(practice: Practice, hook: Subscriber) -> None:
    soon = (datetime.now(UTC) + timedelta(milliseconds=300)).isoformat()
    one = practice.post(plain_one(hook.url) | {"end": soon})
    two = practice.post(plain_one(hook.url))
    off = practice.put(two | {"status": "off"})
    assert off["status"] == "off"
    while datetime.now(UTC).isoformat() < soon:
        pass
    practice.look()
    assert practice.get(f"Subscription/{one['id']}")["status"] == "off"
    practice.animal(gender="female")
    assert practice.carry() == Tally()


REFUSED: list[tuple[str, Json, str]] = [
    ("a private address", plain_one("https://10.0.0.1/hook"), "channel.endpoint"),
    ("the cloud's own", plain_one("https://169.254.169.254/latest/meta-data"), "channel.endpoint"),
    ("http to the world", plain_one("http://hooks.example.org/x"), "channel.endpoint"),
    ("the machine itself", plain_one("https://localhost/x"), "channel.endpoint"),
    ("no address", plain_one("", endpoint=None), "channel.endpoint"),
    ("another channel", plain_one("https://hooks.example.org/x", type="websocket"), "channel.type"),
    ("XML", plain_one("https://hooks.example.org/x", payload="application/fhir+xml"), "channel.payload"),
    ("a header of ours", plain_one("https://hooks.example.org/x", header=["Host: a"]), "channel.header[0]"),
    ("a header twice", plain_one("https://hooks.example.org/x", header=["A: 1", "a: 2"]), "channel.header[1]"),
    ("two headers in one", plain_one("https://hooks.example.org/x", header=["A: b\r\nC: d"]), "channel.header[0]"),
    ("no colon", plain_one("https://hooks.example.org/x", header=["Authorization"]), "channel.header[0]"),
    ("an unknown type", plain_one("https://hooks.example.org/x", "Basic?code=a"), "criteria"),
    ("an unknown parameter", plain_one("https://hooks.example.org/x", "Patient?hat=a"), "criteria"),
    ("a chain", plain_one("https://hooks.example.org/x", "Observation?subject:Patient.name=a"), "criteria"),
    (
        "a reverse chain",
        plain_one("https://hooks.example.org/x", "Patient?_has:Observation:subject:code=a"),
        "criteria",
    ),
    ("an order of results", plain_one("https://hooks.example.org/x", "Patient?_sort=name"), "criteria"),
    ("the audit", plain_one("https://hooks.example.org/x", "AuditEvent?action=R"), "criteria"),
    ("itself", plain_one("https://hooks.example.org/x", "Subscription?status=active"), "criteria"),
    ("an unknown topic", topical("https://hooks.example.org/x", topic=f"{OURS}/SubscriptionTopic/none"), "criteria"),
    ("active from the start", plain_one("https://hooks.example.org/x") | {"status": "active"}, "status"),
    ("a topic without content", plain_one("https://hooks.example.org/x", EXAM), "channel.payload"),
    ("odd content", topical("https://hooks.example.org/x", content="all"), "channel.payload"),
    ("another type's filter", topical("https://hooks.example.org/x", filters=["Patient?name=a"]), "_criteria"),
    ("a restless heart", topical("https://hooks.example.org/x", heartbeat=1), "channel.extension"),
    ("patience without end", topical("https://hooks.example.org/x", timeout=3600), "channel.extension"),
    ("a question in the address", plain_one("https://hooks.example.org/x?y=1"), "channel.endpoint"),
]


def test_what_is_not_honoured_is_refused(practice: Practice) -> None:
    for what, resource, where in REFUSED:
        refused = practice.post(resource, 422)
        assert f"Subscription.{where}" in [place for issue in refused["issue"] for place in issue["expression"]], what
    assert "entry" not in practice.get("Subscription")


def test_everything_wrong_is_told_at_once(practice: Practice) -> None:
    wrong = plain_one("https://127.0.0.2/x", "Basic?a=b", type="email", header=["Host: a", "b"])
    refused = practice.post(wrong, 422)
    assert len(refused["issue"]) >= 4


def test_who_may_not_read_is_not_told(enter: Callable[..., Practice], hook: Subscriber) -> None:
    narrow = enter("system/Subscription.cruds", "system/Observation.rs")
    narrow.post(plain_one(hook.url, "Patient?gender=female"), 403)
    narrow.post(plain_one(hook.url, "Observation?status=final"), 201)
    part = enter("system/Subscription.cruds", "system/Observation.rs?category=laboratory")
    part.post(plain_one(hook.url, "Observation?status=final"), 403)


def test_who_is_no_longer_let_in_is_told_no_more(enter: Callable[..., Practice], hook: Subscriber) -> None:
    # backport, safety_security.md: authorisation is looked at again whenever something is sent
    asking = enter()
    other = enter(slug=asking.slug)
    one = asking.active(topical(hook.url))
    token = asking.http.headers["authorization"].removeprefix("Bearer ")
    assert asking.books.revoke_token(asking.slug, tokens.fingerprint(token))
    other.post(task(other.animal(), "1"))
    assert other.carry() == Tally()
    assert other.look() == 1
    found = other.get(f"Subscription/{one['id']}")
    assert (found["status"], "no longer let in" in found["error"]) == ("error", True)
    other.put(found | {"status": "requested"})
    other.carry()
    other.look()
    other.post(task(other.animal(), "2"))
    assert other.carry().delivered == 1
    assert hook.parameters()[-1]["events-since-subscription-start"] == "2"


def test_nobody_is_told_of_another_organisations_records(enter: Callable[..., Practice], hook: Subscriber) -> None:
    ours, theirs = enter(), enter()
    ours.post(plain_one(hook.url))
    one = theirs.animal(gender="female")
    assert ours.carry() == Tally()
    assert one["id"] not in json.dumps(ours.get("Subscription/$status"))
    made = ours.get("Subscription")["entry"][0]["resource"]["id"]
    theirs.get(f"Subscription/{made}/$status", 404)
    theirs.get(f"Subscription/{made}/$events", 404)


def test_a_host_that_was_not_allowed_is_never_called(
    module_books: SqlBooks, practice: Practice, hook: Subscriber
) -> None:
    # taken while its host was allowed, and carried by a courier for whom it is not
    practice.post(plain_one(hook.url))
    practice.animal(gender="female")
    tally = worker.run(module_books, stop=threading.Event(), until_idle=True)
    assert tally == Tally(dead=1)
    assert hook.told == []
    practice.look()
    (found,) = practice.get("Subscription")["entry"]
    assert found["resource"]["status"] == "error"
    assert "private network" in found["resource"]["error"]


def test_events_of_many_writers_are_numbered_without_gaps(practice: Practice, hook: Subscriber) -> None:
    practice.active(topical(hook.url, content="empty"))
    animal = practice.animal()
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda n: practice.post(task(animal, str(n))), range(24)))
    practice.carry()
    told = [int(e["event-number"]) for p in hook.parameters()[1:] for e in p["notification-event"]]
    assert told == list(range(1, 25))


@hl7
def test_a_record_systems_subscription_is_stored_as_it_is_sent(enter: Callable[..., Practice]) -> None:
    # HL7's R4 example subscription-example-error.json
    records = enter(kind="records")
    sent = json.loads((FOLDER / "Subscription-example-error.json").read_text())
    made = records.post(sent)
    assert {k: v for k, v in made.items() if k not in {"id", "meta"}} == {
        k: v for k, v in sent.items() if k not in {"id", "meta"}
    }


@hl7
def test_hl7s_example_is_taken_once_it_is_asked_for(practice: Practice) -> None:
    sent = json.loads((FOLDER / "Subscription-example-error.json").read_text())
    refused = practice.post(sent, 422)
    assert [i["expression"] for i in refused["issue"]] == [["Subscription.status"]], "everything else of it is honoured"
    made = practice.post({k: v for k, v in sent.items() if k != "error"} | {"status": "requested"})
    assert made["status"] == "active"
    practice.look()
    assert practice.get(f"Subscription/{made['id']}")["status"] == "off", "it ended in 2021"


def test_what_was_refused_left_nothing(practice: Practice, hook: Subscriber) -> None:
    bundle = {
        "resourceType": "Bundle",
        "type": "transaction",
        "entry": [
            {"resource": topical(hook.url), "request": {"method": "POST", "url": "Subscription"}},
            {"resource": plain_one("https://10.0.0.1/x"), "request": {"method": "POST", "url": "Subscription"}},
        ],
    }
    answer = practice.http.post("/fhir", json=bundle, headers=JSON)
    assert answer.status_code == 422
    assert answer.json()["issue"][0]["expression"] == ["Bundle.entry[1].resource.channel.endpoint"]
    assert practice.carry() == Tally()
    assert "entry" not in practice.get("Subscription/$status")


def test_an_endpoint_is_told_and_never_delivered_to(practice: Practice, hook: Subscriber) -> None:
    practice.active(topical(hook.url))
    practice.post(plain_one(hook.url))
    with practice.books.view(practice.slug) as view:
        assert view.routes() == ()
    assert practice.books.gone() == 0
