"""A signed assertion (private_key_jwt, RFC 7523) into who signed it, or the reason why it opens nothing.

Loaded where tokens are asked for and where clients are registered, and nowhere else: the library takes 15 MB."""

import json
import re
from base64 import urlsafe_b64decode
from binascii import Error as BadBase64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from joserfc import jwt
from joserfc.errors import JoseError
from joserfc.jwk import ECKey, RSAKey

from service.basics.errors import Fault, Invalid

Json = dict[str, Any]
KINDS = {"RS384": "RSA", "ES384": "EC"}  # what SMART App Launch 2 asks servers to take; nothing else is
LEEWAY = timedelta(seconds=60)
LONGEST = timedelta(minutes=5)
AHEAD = timedelta(seconds=30)  # how far beyond LONGEST a client's clock may be ahead of ours
LARGEST = 8192
_JTI = re.compile(r"[!-~]{1,255}")
_ISSUER = re.compile(r"[A-Za-z0-9._~-]{1,128}")
_PRIVATE = frozenset({"d", "p", "q", "dp", "dq", "qi", "oth", "k"})
_BITS = 2048


class Unproven(Exception):
    """The assertion proves nothing; the text says why, for a log and never for who sent it."""


@dataclass(frozen=True, slots=True)
class Head:
    """What an assertion says of itself before anything of it is proven."""

    issuer: str
    algorithm: str
    key: str
    keys_url: str


@dataclass(frozen=True, slots=True)
class Proof:
    """A proven assertion: its number, which may be used once, and until when it would be good."""

    jti: str
    expires: datetime


def head(text: str) -> Head:
    """Who an assertion says it is from, to find the keys that it is to be proven with; raises Unproven."""
    parts = text.split(".")
    if len(text) > LARGEST or len(parts) != 3:
        raise Unproven("no signed JWT")
    header, claims = _decoded(parts[0]), _decoded(parts[1])
    words = [header.get("alg"), header.get("kid"), claims.get("iss"), header.get("jku", "")]
    if not all(isinstance(word, str) for word in words) or not all(words[:3]):
        raise Unproven("alg, kid and iss are needed, as text")
    if words[0] not in KINDS or header.get("typ", "JWT") != "JWT" or "crit" in header:
        raise Unproven("another kind of JWT than is taken here")
    if not _ISSUER.fullmatch(str(words[2])):
        raise Unproven("iss is no id of ours")
    return Head(str(words[2]), str(words[0]), str(words[1]), str(words[3]))


def proven(text: str, said: Head, *, keys: str, audiences: Sequence[str], now: datetime) -> Proof:
    """The proof of an assertion by one of these keys (a JWK Set); raises Unproven.

    audiences: the addresses of ours that it may be for."""
    key = _key(keys, said)
    try:
        claims = jwt.decode(text, key, algorithms=[said.algorithm]).claims
    except (JoseError, ValueError, TypeError) as error:
        raise Unproven(f"the signature does not hold ({type(error).__name__})") from None
    if claims.get("iss") != said.issuer or claims.get("sub") != said.issuer:
        raise Unproven("iss and sub are to be the client's id")
    meant = claims.get("aud")
    if not any(one in audiences for one in (meant if isinstance(meant, list) else [meant])):
        raise Unproven("aud is to be the address of the token endpoint")
    return _in_time(claims, now)


def _in_time(claims: Mapping[str, Any], now: datetime) -> Proof:
    expires, jti = _instant(claims, "exp"), claims.get("jti")
    if expires is None:
        raise Unproven("exp is needed")
    if expires + LEEWAY <= now:
        raise Unproven("it has expired")
    if expires > now + LONGEST + AHEAD:
        raise Unproven("exp may be five minutes ahead at most")
    if any((since := _instant(claims, name)) is not None and since > now + LEEWAY for name in ("nbf", "iat")):
        raise Unproven("it is not good yet")
    if not isinstance(jti, str) or not _JTI.fullmatch(jti):
        raise Unproven("jti is needed, as text of at most 255 characters")
    return Proof(jti, expires)


def _instant(claims: Mapping[str, Any], name: str) -> datetime | None:
    value = claims.get(name)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < 10**11:
        raise Unproven(f"{name} is to be a number of seconds")
    return datetime.fromtimestamp(value, UTC)


def _key(keys: str, said: Head) -> RSAKey | ECKey:
    """The one key by this name that fits the algorithm."""
    fitting = [
        one
        for one in json.loads(keys)["keys"]
        if one.get("kid") == said.key
        and one.get("kty") == KINDS[said.algorithm]
        and one.get("alg", said.algorithm) == said.algorithm
    ]
    if len(fitting) != 1:
        raise Unproven(f"{len(fitting)} keys have this kid and fit")
    return RSAKey.import_key(fitting[0]) if said.algorithm == "RS384" else ECKey.import_key(fitting[0])


def _decoded(part: str) -> Json:
    try:
        found = json.loads(urlsafe_b64decode(part + "=" * (-len(part) % 4)))
    except (BadBase64, ValueError, RecursionError):
        raise Unproven("no JSON in base64url") from None
    if not isinstance(found, dict):
        raise Unproven("no JSON object")
    return found


def key_set(text: str) -> str:
    """A JWK Set as it is kept: public keys that sign by RS384 or ES384, each with a kid of its own.

    Raises Invalid with all that is wrong."""
    try:
        keys = json.loads(text)["keys"]
        faults = [fault for one in keys for fault in _faults(one)] if keys else ["there is no key in it"]
        kids = [one.get("kid") for one in keys if isinstance(one, dict)]
    except (ValueError, TypeError, KeyError, RecursionError):
        raise Invalid(Fault("structure", 'A JWK Set is needed: {"keys": [...]}.')) from None
    faults += [f"two keys have the kid {kid}" for kid in sorted({str(k) for k in kids if kids.count(k) > 1})]
    if faults:
        raise Invalid(*(Fault("value", fault) for fault in faults))
    return json.dumps({"keys": keys}, sort_keys=True)


def _faults(one: object) -> list[str]:
    if not isinstance(one, dict):
        return ["a key is to be a JSON object"]
    name = str(one.get("kid", "(without kid)"))
    if _PRIVATE & one.keys():
        return [f"{name}: this is a secret key; give the public one, and make a new pair: this one has been shown"]
    checks = (
        (isinstance(one.get("kid"), str) and bool(one.get("kid")), "it needs a kid"),
        (one.get("use", "sig") == "sig" and "verify" in one.get("key_ops", ["verify"]), "it is not for signatures"),
        (one.get("alg", "RS384") in KINDS, f"its alg is to be {' or '.join(KINDS)}"),
        (_sound(one), f"an RSA key of {_BITS} bits or more is needed, or an EC key on P-384"),
    )
    return [f"{name}: {words}" for fits, words in checks if not fits]


def _sound(one: Json) -> bool:
    """Whether the key is of a kind and a length that signs safely; a short one is not even read."""
    try:
        if one.get("kty") == "RSA":
            modulus = urlsafe_b64decode(str(one["n"]) + "==")
            return int.from_bytes(modulus).bit_length() >= _BITS and bool(RSAKey.import_key(one))
        return one.get("kty") == "EC" and ECKey.import_key(one).curve_name == "P-384"
    except (JoseError, ValueError, TypeError, KeyError, AttributeError):
        return False
