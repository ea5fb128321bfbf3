"""Signatures of webhooks: the standard's own vector, its own library as counterpart, and every way to be refused."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from standardwebhooks.webhooks import Webhook, WebhookVerificationError

from service.access import signature
from service.basics.errors import Unrecognised
from service.courier import signing

# libraries/python/tests/test_webhooks.py of github.com/standard-webhooks/standard-webhooks
SECRET, KEY = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek"
AT, BODY = datetime.fromtimestamp(1614265330, UTC), b'{"test": 2432232314}'
SIGNED = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_the_vector_of_the_standard() -> None:
    assert signing.headers([SECRET], key=KEY, at=AT, body=BODY) == {
        "webhook-id": KEY,
        "webhook-timestamp": "1614265330",
        "webhook-signature": SIGNED,
    }


def test_the_standards_library_accepts_ours_and_we_accept_its() -> None:
    now, secret = datetime.now(UTC), signature.new_secret()
    body = json.dumps({"type": "invoice.paid", "name": "Zoë"}).encode()
    ours = signing.headers([signature.new_secret(), secret], key="exam:finished:1", at=now, body=body)
    assert Webhook(secret).verify(body, ours) == json.loads(body)
    with pytest.raises(WebhookVerificationError):
        Webhook(signature.new_secret()).verify(body, ours)
    its = Webhook(secret).sign("msg_1", now, body.decode())
    headers = {"webhook-id": "msg_1", "webhook-timestamp": str(int(now.timestamp())), "webhook-signature": its}
    assert signature.verified([secret], headers, body=body, now=now) == "msg_1"


def test_two_secrets_while_one_takes_the_others_place() -> None:
    old, new = signature.new_secret(), signature.new_secret()
    both = signature.signed([new, old], id_="m", at=AT, body=BODY)
    for held in ([old], [new], [old, new], [signature.new_secret(), old]):
        assert signature.verified(held, both, body=BODY, now=AT) == "m"
    by_old = signature.signed([old], id_="m", at=AT, body=BODY)
    assert signature.verified([new, old], by_old, body=BODY, now=AT) == "m"
    with pytest.raises(Unrecognised):
        signature.verified([new], by_old, body=BODY, now=AT)


GOOD = {"webhook-id": KEY, "webhook-timestamp": "1614265330", "webhook-signature": SIGNED}


@pytest.mark.parametrize(
    ("headers", "body"),
    [
        ({}, BODY),
        *[({name: value for name, value in GOOD.items() if name != left_out}, BODY) for left_out in GOOD],
        (GOOD | {"webhook-id": "msg_other"}, BODY),
        (GOOD | {"webhook-timestamp": "1614265331"}, BODY),
        (GOOD | {"webhook-timestamp": " 1614265330"}, BODY),
        (GOOD | {"webhook-timestamp": "١٦١٤٢٦٥٣٣٠"}, BODY),
        (GOOD | {"webhook-timestamp": "1614265330.0"}, BODY),
        (GOOD, b'{"test":2432232314}'),  # the same JSON, written anew
        (GOOD, b""),
        (GOOD | {"webhook-signature": SIGNED.removeprefix("v1,")}, BODY),
        (GOOD | {"webhook-signature": SIGNED.replace("v1,", "v1a,")}, BODY),
        (GOOD | {"webhook-signature": "v1,"}, BODY),
        (GOOD | {"webhook-signature": "v1,é"}, BODY),
        (GOOD | {"webhook-signature": " ".join(["v1,x"] * 16 + [SIGNED])}, BODY),
        (GOOD | {"webhook-id": "a\nb"}, BODY),
        (GOOD | {"webhook-id": "a" * 256}, BODY),
    ],
)
def test_what_is_not_signed_is_refused(headers: dict[str, str], body: bytes) -> None:
    with pytest.raises(Unrecognised):
        signature.verified([SECRET], headers, body=body, now=AT)


def test_five_minutes_either_way() -> None:
    for off in (timedelta(minutes=5), timedelta(minutes=-5)):
        assert signature.verified([SECRET], GOOD, body=BODY, now=AT + off) == KEY
        with pytest.raises(Unrecognised, match="five minutes"):
            signature.verified([SECRET], GOOD, body=BODY, now=AT + off * 1.01)


def test_secrets_have_24_to_64_bytes() -> None:
    # "between 24 bytes (192 bits) and 64 bytes (512 bits)", spec/standard-webhooks.md
    assert signature.secret_faults(signature.new_secret()) == []
    assert signature.secret_faults(SECRET) == []
    assert signature.secret_faults("whsec_" + "AAAA" * 7) == ["a secret holds 24 to 64 bytes; this one has 21"]
    assert signature.secret_faults("whsec_" + "AAAA" * 22) == ["a secret holds 24 to 64 bytes; this one has 66"]
    for none in ("", "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "whsec_not base64"):
        assert signature.secret_faults(none) == ["a secret is whsec_ and base64"]
