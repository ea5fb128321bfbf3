"""Every kind of answer a record system can give, and what follows for the post."""

import gzip
import json

import httpx
import pytest

from tests.courier.carrying import PERFORMED, URL, answering, carry, response
from tests.courier.twin import BUNDLE, Twin, TwinPost

FHIR = "application/fhir+json"
OUTCOME = {"resourceType": "OperationOutcome", "issue": [{"severity": "error", "code": "invalid"}]}


def told(answer: httpx.Response | Exception) -> tuple[str, str, int | None]:
    """State, reason and status of the only attempt."""
    outbox = Twin.of(TwinPost())
    carry(outbox, router=answering(answer))
    ((_, settlement),) = outbox.attempts
    assert settlement.state == outbox.posts["0001"].state
    return settlement.state, settlement.reason, settlement.status


def test_a_transaction_response_with_every_entry_a_success_is_a_delivery() -> None:
    assert told(PERFORMED) == ("delivered", "2 entries performed", 200)


def test_the_request_carries_the_stored_bytes_and_says_who_and_which() -> None:
    router = answering(PERFORMED)
    carry(Twin.of(TwinPost()), router=router)
    (call,) = router.calls
    sent = call.request
    assert (sent.method, str(sent.url), sent.content) == ("POST", URL, BUNDLE)
    assert sent.headers["Content-Type"] == "application/fhir+json; charset=utf-8"
    assert sent.headers["Accept"] == FHIR
    assert sent.headers["Accept-Encoding"] == "identity"
    assert sent.headers["Authorization"] == "Bearer plainly-invented"
    assert sent.headers["Idempotency-Key"] == "exam-1.finished.1"
    assert sent.headers["X-Request-Id"] == "0001.1"


def test_without_credentials_no_authorization_is_sent() -> None:
    router = answering(PERFORMED)
    carry(Twin.of(TwinPost(authorization="")), router=router)
    assert "Authorization" not in router.calls[0].request.headers


@pytest.mark.parametrize("status", [408, 425, 429, 500, 501, 502, 503, 504, 507, 599])
def test_what_a_repeat_can_mend_waits(status: int) -> None:
    assert told(httpx.Response(status, text="later")) == ("waiting", f"answered {status}", status)


@pytest.mark.parametrize("status", [400, 401, 403, 404, 405, 406, 410, 411, 413, 415, 421, 422, 428, 431, 451])
def test_other_refusals_are_dead_letters_at_once_with_the_answer_kept(status: int) -> None:
    outbox = Twin.of(TwinPost())
    carry(outbox, router=answering(httpx.Response(status, json=OUTCOME)))
    ((_, settlement),) = outbox.attempts
    assert (settlement.state, settlement.status) == ("dead", status)
    assert json.loads(settlement.answer) == OUTCOME
    assert str(status) in settlement.reason


@pytest.mark.parametrize("status", [300, 301, 302, 303, 304, 307, 308])
def test_a_redirect_is_refused_and_never_followed(status: int) -> None:
    router = answering(httpx.Response(status, headers={"Location": "http://elsewhere.test/steal"}))
    canary = router.route(host="elsewhere.test").respond(200)
    outbox = Twin.of(TwinPost())
    carry(outbox, router=router)
    assert (outbox.posts["0001"].state, canary.call_count) == ("dead", 0)
    assert "redirect" in outbox.attempts[0][1].reason


def test_gone_also_disables_the_destination_and_nothing_more_is_sent_there() -> None:
    second = TwinPost(id="0002", key="exam-2.finished.1", thread="exam-2")
    outbox = Twin.of(TwinPost(), second)
    outbox.per_destination = 1  # so that the second is not yet on its way when the first comes back
    router = answering(httpx.Response(410))
    carry(outbox, router=router)
    assert outbox.disabled == {"records"}
    assert (outbox.posts["0002"].state, len(router.calls)) == ("waiting", 1)


@pytest.mark.parametrize(
    "fault",
    [
        httpx.ConnectError("refused"),
        httpx.ConnectTimeout("late"),
        httpx.ReadTimeout("late"),
        httpx.WriteTimeout("late"),
        httpx.PoolTimeout("late"),
        httpx.ReadError("reset"),
        httpx.WriteError("reset"),
        httpx.CloseError("closed"),
        httpx.RemoteProtocolError("cut off"),
        httpx.ProxyError("proxy"),
    ],
    ids=lambda fault: type(fault).__name__,
)
def test_no_answer_is_an_unknown_outcome_and_waits(fault: Exception) -> None:
    state, reason, status = told(fault)
    assert (state, status) == ("waiting", None)
    assert type(fault).__name__ in reason


@pytest.mark.parametrize(
    ("answer", "state", "words"),
    [
        (
            httpx.Response(200, json=response("201", "422 Unprocessable Entity")),
            "dead",
            "1 of 2 entries failed: entry[1] 422",
        ),
        (httpx.Response(200, json=response("500", "409")), "waiting", "2 of 2 entries failed"),
        (httpx.Response(200, json=response("201")), "dead", "answered 1 of 2 entries"),
        (httpx.Response(200, json=response("201", "200", "200")), "dead", "answered 3 of 2 entries"),
        (httpx.Response(200, json={**response(), "entry": [{}, {"response": {}}]}), "dead", "without a status"),
        (httpx.Response(200, json={**response(), "entry": "x"}), "dead", "answered 0 of 2 entries"),
        (httpx.Response(200, json={**response("201", "200"), "type": "batch-response"}), "delivered", "2 entries"),
        (httpx.Response(201, content=BUNDLE), "dead", "transaction instead of a transaction-response"),
        (httpx.Response(200, json=OUTCOME), "dead", "OperationOutcome instead of"),
        (httpx.Response(200, json={"ok": True}), "dead", "something unknown instead of"),
        (httpx.Response(200), "delivered", "without a transaction-response"),
        (httpx.Response(201), "delivered", "without a transaction-response"),
        (httpx.Response(204), "delivered", "without a transaction-response"),
        (httpx.Response(202), "dead", "accepted for later"),
        (httpx.Response(200, html="<html>Please sign in</html>"), "waiting", "not FHIR JSON"),
        (httpx.Response(200, text='["a"]'), "waiting", "not FHIR JSON"),
        (httpx.Response(200, content=b'{"a":' * 200_000), "waiting", "not FHIR JSON"),
        (httpx.Response(200, content=b"\xff\xfe\x00"), "waiting", "not FHIR JSON"),
        (httpx.Response(200, content=b" " * (1024 * 1024 + 1)), "dead", "too long"),
    ],
)
def test_a_success_is_believed_only_when_it_can_be_read(answer: httpx.Response, state: str, words: str) -> None:
    got, reason, status = told(answer)
    assert (got, status) == (state, answer.status_code)
    assert words in reason


def test_an_encoded_answer_is_not_unpacked() -> None:
    swelling = gzip.compress(b" " * 30_000_000)
    packed = httpx.Response(200, content=swelling, extensions={"raw": swelling})
    packed.headers["Content-Encoding"] = "gzip"
    state, reason, _ = told(packed)
    assert state == "dead"
    assert "Content-Encoding gzip" in reason


def test_what_is_kept_of_an_answer_fits_every_database() -> None:
    outbox = Twin.of(TwinPost())
    carry(outbox, router=answering(httpx.Response(500, content=b"a\x00\xff" + b"b" * 100_000)))
    kept = outbox.attempts[0][1].answer
    assert kept.startswith("a��b")
    assert len(kept.encode()) <= 64 * 1024 + 4
    assert "\x00" not in kept


@pytest.mark.parametrize(
    "broken", [{"url": "http://records.test:port"}, {"url": "ftp://records.test"}, {"authorization": "Bearer \u00e4"}]
)
def test_an_address_or_credential_that_cannot_be_sent_is_a_dead_letter_that_does_not_quote_it(
    broken: dict[str, str],
) -> None:
    outbox = Twin.of(TwinPost(**broken))
    carry(outbox)
    ((_, settlement),) = outbox.attempts
    assert (settlement.state, settlement.status) == ("dead", None)
    assert "cannot be sent" in settlement.reason
    assert "\u00e4" not in settlement.reason


def test_a_line_break_in_credentials_sends_nothing() -> None:
    outbox = Twin.of(TwinPost(url="http://127.0.0.1:9/fhir", authorization="Bearer a\r\nX-Evil: b"))
    carry(outbox)
    assert "Evil" not in outbox.attempts[0][1].reason
