"""Signed webhooks over HTTP: what they do once, and everything that is refused before it is read."""

import json
import uuid
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest
from standardwebhooks.webhooks import Webhook

from service.access import signature
from service.basics.ids import new_id
from service.basics.stored import Post
from service.commands import webhook
from service.store import SqlBooks
from tests.api import running

Json = dict[str, Any]
NUMBERS = "https://sonoledger.example/fhir/invoice-number"


class Sender:
    """A record system with its secret: signs by the standard's own library."""

    def __init__(self, url: str, books: SqlBooks, organization: str, secret: str) -> None:
        self.url, self.books, self.organization, self.secret = url, books, organization, secret
        self.http = httpx.Client()
        self.place = f"{url}/webhooks/{organization}/records"

    def send(
        self, kind: str, data: Json, *, id_: str = "", at: datetime | None = None, **changed: str
    ) -> httpx.Response:
        when = at or datetime.now(UTC)
        body = json.dumps({"type": kind, "timestamp": when.isoformat(), "data": data})
        message = id_ or f"msg_{uuid.uuid4().hex}"
        headers = {
            "content-type": "application/json",
            "webhook-id": message,
            "webhook-timestamp": str(int(when.timestamp())),
            "webhook-signature": Webhook(changed.pop("secret", self.secret)).sign(message, when, body),
        }
        place, sent = changed.pop("place", self.place), changed.pop("body", body)
        return self.http.post(place, content=sent, headers=headers | changed)


@pytest.fixture
def sender(
    joined: str, module_books: SqlBooks, organization: str, capsys: pytest.CaptureFixture[str]
) -> Iterator[Sender]:
    webhook.add(module_books, organization=organization, name="records")
    made = Sender(joined, module_books, organization, capsys.readouterr().out.strip())
    yield made
    made.http.close()


def _promised(sender: Sender) -> tuple[str, str]:
    """(id, key) of a post that waits for the destination."""
    sender.books.add_destination(sender.organization, "records", url="http://127.0.0.1:9/fhir")
    id_, key = new_id(), f"{new_id()}:finished:1"
    with sender.books.begin(sender.organization) as work:
        work.post([Post(id_, "records", key, "exam", "finished", b"{}")])
    return id_, key


def test_an_acknowledged_post_counts_as_delivered_and_says_by_whom(sender: Sender) -> None:
    id_, key = _promised(sender)
    assert sender.send("delivery.acknowledged", {"key": key}).json() == {
        "type": "delivery.acknowledged",
        "state": "delivered",
    }
    found = sender.books.delivery(sender.organization, id_)
    assert found is not None
    assert found.state == "delivered"
    (line,) = sender.books.attempts(sender.organization, id_)
    assert (line.outcome, line.reason, line.by) == ("delivered", "acknowledged by a webhook", "webhook records")
    assert sender.send("delivery.acknowledged", {"key": key}).status_code == 200
    assert len(sender.books.attempts(sender.organization, id_)) == 1
    assert sender.send("delivery.acknowledged", {"key": "another"}).status_code == 404


def _invoice(sender: Sender, number: str, status: str = "issued") -> tuple[httpx.Client, str]:
    token = running.register(sender.books, sender.organization, kind="practice")
    client = running.client(sender.url, token)
    identifier = [{"system": f"{NUMBERS}/{sender.organization}", "value": number}]
    with sender.books.begin(sender.organization) as work:
        from service.actions.writing import write  # noqa: PLC0415  # as an action stores it; a plain write is refused

        resource = {"resourceType": "Invoice", "id": new_id(), "status": status, "identifier": identifier}
        write(work, [resource])
    return client, str(resource["id"])


def test_a_paid_invoice_is_balanced_once_whoever_tells_it_at_once(sender: Sender) -> None:
    client, id_ = _invoice(sender, "2026-0001")
    with client, ThreadPoolExecutor(6) as pool:
        sent = list(
            pool.map(lambda _: sender.send("invoice.paid", {"number": "2026-0001"}, id_="msg_1").status_code, range(6))
        )
        assert set(sent) <= {200, 409, 503}, "who came at the same time may be asked to come again"
        assert 200 in sent
        again = sender.send("invoice.paid", {"number": "2026-0001"}, id_="msg_2")
        assert again.json() == {"type": "invoice.paid", "state": "balanced"}
        found = client.get(f"/fhir/Invoice/{id_}").json()
    assert (found["status"], found["meta"]["versionId"]) == ("balanced", "2")


def test_only_what_is_issued_can_be_paid(sender: Sender) -> None:
    client, _ = _invoice(sender, "2026-0002", "cancelled")
    client.close()
    assert sender.send("invoice.paid", {"number": "2026-0002"}).status_code == 409
    assert sender.send("invoice.paid", {"number": "2026-0003"}).status_code == 404


def test_the_same_id_gets_the_same_answer_and_with_other_content_none(sender: Sender) -> None:
    _, key = _promised(sender)
    at = datetime.now(UTC)
    first = sender.send("delivery.acknowledged", {"key": key}, id_="msg_1", at=at)
    assert sender.send("delivery.acknowledged", {"key": key}, id_="msg_1", at=at).json() == first.json()
    assert sender.send("delivery.acknowledged", {"key": "another"}, id_="msg_1").status_code == 409


def test_what_is_not_proven_is_refused_before_it_is_read(sender: Sender) -> None:
    _, key = _promised(sender)
    good = {"key": key}
    other = signature.new_secret()
    elsewhere = f"{sender.url}/webhooks/nobody/records"
    refused = [
        sender.send("delivery.acknowledged", good, secret=other),
        sender.send("delivery.acknowledged", good, place=elsewhere),
        sender.send("delivery.acknowledged", good, place=sender.place + "2"),
        sender.send("delivery.acknowledged", good, at=datetime.now(UTC) - timedelta(minutes=6)),
        sender.send("delivery.acknowledged", good, at=datetime.now(UTC) + timedelta(minutes=6)),
        sender.send("delivery.acknowledged", good, **{"webhook-id": "msg_other"}),
        sender.send(
            "delivery.acknowledged", good, **{"webhook-timestamp": str(int(datetime.now(UTC).timestamp()) - 9)}
        ),
        sender.send("delivery.acknowledged", good, body='{"type":"invoice.paid","data":{"number":"1"}}'),
        httpx.post(sender.place, json={"type": "invoice.paid", "data": {"number": "1"}}),
    ]
    assert [one.status_code for one in refused] == [401] * len(refused)
    words = {one.json()["issue"][0]["details"]["text"] for one in refused[:3]}
    assert len(words) == 1, "who is not known looks like who signed wrongly"
    assert sender.send("delivery.acknowledged", good).status_code == 200


def test_two_secrets_while_one_takes_the_others_place(sender: Sender, capsys: pytest.CaptureFixture[str]) -> None:
    books, organization, old = sender.books, sender.organization, sender.secret
    _, key = _promised(sender)
    webhook.rotate(books, organization=organization, name="records")
    new = capsys.readouterr().out.strip()
    assert [sender.send("delivery.acknowledged", {"key": key}, secret=s).status_code for s in (old, new)] == [200, 200]
    webhook.settle(books, organization=organization, name="records")
    assert [sender.send("delivery.acknowledged", {"key": key}, secret=s).status_code for s in (old, new)] == [401, 200]
    webhook.switch(books, organization=organization, name="records", active=False)
    assert sender.send("delivery.acknowledged", {"key": key}, secret=new).status_code == 401


@pytest.mark.parametrize(
    ("kind", "data", "status"),
    [
        ("invoice.cancelled", {"number": "1"}, 400),
        ("invoice.paid", {}, 400),
        ("invoice.paid", {"number": 7}, 400),
        ("invoice.paid", {"number": "x" * 201}, 400),
        ("invoice.paid", {"number": "a\u0000b"}, 400),
        ("invoice.paid", {"number": "1|2,3$4\\5"}, 400),
        ("delivery.acknowledged", {"key": ["a"]}, 400),
    ],
)
def test_what_says_nothing_that_is_understood(sender: Sender, kind: str, data: Json, status: int) -> None:
    assert sender.send(kind, data).status_code == status


def test_only_a_short_post_of_json_is_taken(sender: Sender) -> None:
    assert httpx.get(sender.place).status_code == 405
    assert sender.send("invoice.paid", {"number": "x" * 20_000}).status_code == 413
    assert sender.send("invoice.paid", {"number": "1"}, **{"content-type": "text/plain"}).status_code == 415
    assert sender.send("invoice.paid", {"number": "1"}, **{"content-encoding": "gzip"}).status_code == 415
