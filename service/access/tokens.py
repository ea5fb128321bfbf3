"""Bearer tokens: 256 random bits that are shown once, and the fingerprint that is stored in their place."""

import re
import secrets
from hashlib import sha256

from service.basics.errors import Fault, Unrecognised

_HEADER = re.compile(r"[Bb]earer +([A-Za-z0-9_-]{43})")


def new_token() -> str:
    """A fresh token of 256 random bits as 43 URL-safe characters."""
    return secrets.token_urlsafe(32)


def fingerprint(token: str) -> str:
    """What is stored and looked up instead of the token: its SHA-256 in hex.

    A plain digest is enough because the token is random: there is nothing to guess that a slow hash would protect."""
    return sha256(token.encode()).hexdigest()


def bearer(header: str | None) -> str:
    """The token of an Authorization header; raises Unrecognised when there is none or it can't be one of ours."""
    if not header:
        raise Unrecognised(Fault("login", "Send your token in the Authorization header: Bearer <token>."))
    match = _HEADER.fullmatch(header)
    if match is None:
        raise unknown()
    return match.group(1)


def unknown() -> Unrecognised:
    """The one refusal of every token that doesn't open the door, whatever is wrong with it."""
    return Unrecognised(Fault("login", "This token is not valid. Ask whoever runs the service for a new one."))
