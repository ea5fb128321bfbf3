"""Messages, documents and webhooks: how each goes out, and what is believed of what comes back."""

import base64
import hashlib
import hmac
from typing import Any

import httpx
import pytest
import respx

from tests.courier.carrying import URL, carry
from tests.courier.twin import START, Clock, Twin, TwinPost

Json = dict[str, Any]
DOCUMENT = (
    b'{"resourceType":"Bundle","identifier":{"system":"urn:ietf:rfc:3986","value":"urn:uuid:1"},"type":"document"}'
)
SECRETS = tuple(f"whsec_{base64.b64encode(bytes([n]) * 24).decode()}" for n in (1, 2))
BODIES = {"message": b'{"resourceType":"Bundle","type":"message"}', "document": DOCUMENT, "webhook": b'{"type":"a"}'}
OK: Json = {"resourceType": "OperationOutcome", "issue": [{"severity": "information", "code": "informational"}]}
BAD: Json = {"resourceType": "OperationOutcome", "issue": [{"severity": "error", "code": "invalid"}]}


def answered(code: str) -> Json:
    """A response message (R4 MessageHeader.response.code)."""
    header = {"resourceType": "MessageHeader", "response": {"identifier": "x", "code": code}}
    return {"resourceType": "Bundle", "type": "message", "entry": [{"resource": header}]}


def sent(form: str, answer: httpx.Response) -> tuple[Twin, httpx.Request]:
    """The post after one attempt, and the request that was made."""
    router = respx.MockRouter()
    route = router.route(host="records.test").mock(return_value=answer)
    secret = " ".join(SECRETS) if form == "webhook" else "Bearer plainly-invented"
    outbox = Twin.of(TwinPost(form=form, body=BODIES[form], authorization=secret))
    carry(outbox, router=router, clock=Clock(START))
    return outbox, route.calls[0].request


@pytest.mark.parametrize("form", BODIES)
def test_each_goes_where_it_belongs_with_its_bytes_and_key(form: str) -> None:
    _, request = sent(form, httpx.Response(204))
    where = {"message": "/$process-message", "document": "/Bundle", "webhook": ""}[form]
    assert str(request.url) == f"{URL}{where}"
    assert (request.method, request.content) == ("POST", BODIES[form])
    assert request.headers["Idempotency-Key"] == "exam-1.finished.1"
    assert ("Authorization" in request.headers) == (form != "webhook"), "a webhook's secret signs and is never sent"


def test_a_document_that_is_there_already_is_left_alone() -> None:
    _, request = sent("document", httpx.Response(201))
    assert request.headers["If-None-Exist"] == "identifier=urn:ietf:rfc:3986|urn:uuid:1"


def test_a_webhook_is_signed_with_both_secrets_as_the_standard_says() -> None:
    """Standard Webhooks 1.0.0: HMAC-SHA256 over id.timestamp.body, base64, each with v1, one for each secret."""
    _, request = sent("webhook", httpx.Response(200))
    stamp = str(int(START.timestamp()))
    assert (request.headers["webhook-id"], request.headers["webhook-timestamp"]) == ("exam-1.finished.1", stamp)
    signed = b".".join([b"exam-1.finished.1", stamp.encode(), BODIES["webhook"]])
    keys = [base64.b64decode(secret.removeprefix("whsec_")) for secret in SECRETS]
    expected = [f"v1,{base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()}" for key in keys]
    assert request.headers["webhook-signature"].split() == expected
    assert request.headers["Content-Type"] == "application/json"
    assert not any(secret in str(request.headers) for secret in SECRETS)


@pytest.mark.parametrize(
    ("form", "answer", "state"),
    [
        ("message", httpx.Response(200, json=answered("ok")), "delivered"),
        ("message", httpx.Response(200, json=answered("transient-error")), "waiting"),
        ("message", httpx.Response(200, json=answered("fatal-error")), "dead"),
        ("message", httpx.Response(200, json=OK), "delivered"),
        ("message", httpx.Response(200, json=BAD), "dead"),
        ("message", httpx.Response(202), "delivered"),
        ("message", httpx.Response(204), "delivered"),
        ("message", httpx.Response(200, html="<h1>Please sign in</h1>"), "waiting"),
        ("message", httpx.Response(404, json=BAD), "dead"),
        ("message", httpx.Response(503), "waiting"),
        ("document", httpx.Response(201), "delivered"),
        ("document", httpx.Response(200, json={"resourceType": "Bundle", "type": "document", "id": "7"}), "delivered"),
        ("document", httpx.Response(200, json=BAD), "dead"),
        ("document", httpx.Response(202), "dead"),
        ("document", httpx.Response(200, text="thanks"), "waiting"),
        ("document", httpx.Response(412), "dead"),
        ("webhook", httpx.Response(200, text="thanks"), "delivered"),
        ("webhook", httpx.Response(202), "delivered"),
        ("webhook", httpx.Response(302, headers={"Location": "http://elsewhere.test"}), "dead"),
        ("webhook", httpx.Response(410), "dead"),
        ("webhook", httpx.Response(429), "waiting"),
        ("webhook", httpx.Response(502), "waiting"),
    ],
)
def test_what_comes_back_is_believed_as_far_as_it_goes(form: str, answer: httpx.Response, state: str) -> None:
    outbox, _ = sent(form, answer)
    assert outbox.posts["0001"].state == state
    ((_, settlement),) = outbox.attempts
    assert settlement.status == answer.status_code
    assert outbox.disabled == ({"records"} if answer.status_code == 410 else set())
