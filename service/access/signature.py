"""Standard Webhooks 1.0.0: a message and shared secrets into its signature, and a signature back into yes or no."""

import binascii
import hmac
import re
import secrets
from base64 import b64decode, b64encode
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from hashlib import sha256

from service.basics.errors import Fault, Unrecognised

PREFIX = "whsec_"
ID, TIMESTAMP, SIGNATURE = "webhook-id", "webhook-timestamp", "webhook-signature"
TOLERANCE = timedelta(minutes=5)  # how far the clock of whoever signs may be from ours
_BYTES = range(24, 65)  # of a secret
_ID = re.compile(r"[!-~]{1,255}")
_SECONDS = re.compile(r"[1-9][0-9]{0,10}")
_AT_MOST = 16  # signatures that are looked at


def new_secret() -> str:
    """A fresh secret of 256 random bits, as both sides keep it."""
    return PREFIX + b64encode(secrets.token_bytes(32)).decode()


def secret_faults(secret: str) -> list[str]:
    """What is wrong with a secret: nothing, or a line for each thing."""
    key = _key(secret)
    if key is None:
        return [f"a secret is {PREFIX} and base64"]
    return [] if len(key) in _BYTES else [f"a secret holds 24 to 64 bytes; this one has {len(key)}"]


def signed(keys: Iterable[str], *, id_: str, at: datetime, body: bytes) -> dict[str, str]:
    """The three headers of a message: signed by each secret, so that a receiver that holds either one can tell.

    id_ stays the same over all attempts, at is the time of this one. Raises ValueError for a secret that is none."""
    seconds = str(int(at.timestamp()))
    return {ID: id_, TIMESTAMP: seconds, SIGNATURE: " ".join(_sign(key, id_, seconds, body=body) for key in keys)}


def verified(keys: Iterable[str], headers: Mapping[str, str], *, body: bytes, now: datetime) -> str:
    """The id of a message that bears a signature by one of the secrets and a time within TOLERANCE of now.

    headers by lower-case names; body as it came, byte by byte. Raises Unrecognised."""
    id_, seconds, given = (headers.get(name, "") for name in (ID, TIMESTAMP, SIGNATURE))
    if not _ID.fullmatch(id_) or not _SECONDS.fullmatch(seconds) or not given:
        raise _unknown(f"Send {ID}, {TIMESTAMP} and {SIGNATURE} as Standard Webhooks 1.0 has them.")
    if abs(int(seconds) - now.timestamp()) > TOLERANCE.total_seconds():
        raise _unknown(f"{TIMESTAMP} is more than five minutes from the time here: check the clock and sign anew.")
    bearing = [one for one in given.split(" ") if one.startswith("v1,")][:_AT_MOST]
    # every pair is compared, so that the time it takes does not tell which one fitted
    fits = [
        hmac.compare_digest(_sign(k, id_, seconds, body=body).encode(), one.encode()) for k in keys for one in bearing
    ]
    if not any(fits):
        raise _unknown("The signature is not one of a secret that is known here.")
    return id_


def _sign(secret: str, id_: str, seconds: str, *, body: bytes) -> str:
    key = _key(secret)
    if key is None:
        raise ValueError("not a secret of Standard Webhooks")
    return "v1," + b64encode(hmac.digest(key, f"{id_}.{seconds}.".encode() + body, sha256)).decode()


def _key(secret: str) -> bytes | None:
    try:
        return b64decode(secret.removeprefix(PREFIX), validate=True) if secret.startswith(PREFIX) else None
    except (binascii.Error, ValueError):
        return None


def _unknown(text: str) -> Unrecognised:
    return Unrecognised(Fault("login", text))
