"""The place where a page begins as a link's opaque word: bound to who asked for what, and only good for a while."""

from collections.abc import Iterable
from hashlib import blake2b
from time import time

from service.basics.errors import Fault, Gone, Invalid

SECONDS = 3600
"""How long a page link is good."""


def bound(
    after: str, organization: str, path: str, used: Iterable[tuple[str, str]], *, now: float | None = None
) -> str:
    """The word for a position; "" for none."""
    if not after:
        return ""
    made = format(int(time() if now is None else now), "x")
    return f"{_seal(made, after, organization, path, used)}.{made}.{after}"


def unbound(page: str, organization: str, path: str, used: Iterable[tuple[str, str]]) -> str:
    """The position again. Raises Invalid for another organisation's or another search's link, Gone for an old one."""
    if not page:
        return ""
    seal, _, rest = page.partition(".")
    made, _, after = rest.partition(".")
    if not after or seal != _seal(made, after, organization, path, used):
        raise Invalid(Fault("value", "This page link is not one that this service gave for this search.", "_page"))
    if time() - int(made, 16) > SECONDS:
        raise Gone(Fault("expired", "This page link has expired: begin the search again.", "_page"))
    return after


def _seal(made: str, after: str, organization: str, path: str, used: Iterable[tuple[str, str]]) -> str:
    text = "\x1f".join((made, after, organization, path, *(f"{name}={value}" for name, value in used)))
    return blake2b(text.encode("utf-8", "surrogatepass"), digest_size=9).hexdigest()
