"""Keys of our own: made, published by halves, and an assertion signed by one (SMART Backend Services, RFC 7523).

Loaded where keys are made and where a destination asks for an assertion: the library takes 15 MB."""

import json
import secrets
from datetime import datetime, timedelta

from joserfc import jwt
from joserfc.jwk import ECKey, RSAKey

from service.basics.errors import Fault, Invalid
from service.basics.signing import ALGORITHMS, SigningKey

LIFE = timedelta(minutes=4)  # of an assertion: under the five minutes that it may have, whatever our clock is off
_BITS = 3072
_KINDS: dict[str, type[ECKey] | type[RSAKey]] = {"ES384": ECKey, "RS384": RSAKey}


def new_key(algorithm: str, *, now: datetime) -> SigningKey:
    """A fresh key pair; its name is its thumbprint (RFC 7638). Raises Invalid for another algorithm than ALGORITHMS."""
    if algorithm not in ALGORITHMS:
        raise Invalid(Fault("value", f"An algorithm is one of {', '.join(ALGORITHMS)}."))
    key = ECKey.generate_key("P-384") if algorithm == "ES384" else RSAKey.generate_key(_BITS)
    kid = key.thumbprint()
    more = {"kid": kid, "alg": algorithm, "use": "sig"}
    private, public = key.as_dict(private=True) | more, key.as_dict(private=False) | more
    made = now.isoformat(timespec="milliseconds")
    us = int(now.timestamp() * 1000) * 1000
    return SigningKey(kid, algorithm, json.dumps(private), json.dumps(public | {"key_ops": ["verify"]}), made, "", us)


def assertion(key: SigningKey, *, client: str, audience: str, now: datetime) -> str:
    """A JWT that says who we are, to be shown once: client is our id there, audience the token endpoint's address."""
    header = {"alg": key.alg, "kid": key.kid, "typ": "JWT"}
    claims = {
        "iss": client,
        "sub": client,
        "aud": audience,
        "iat": int(now.timestamp()),
        "exp": int((now + LIFE).timestamp()),
        "jti": secrets.token_urlsafe(24),
    }
    private = _KINDS[key.alg].import_key(json.loads(key.private))
    return jwt.encode(header, claims, private, algorithms=[key.alg])
