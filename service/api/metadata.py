"""GET metadata: what is offered, built once and answered as bytes."""

from collections.abc import Callable, Sequence
from functools import lru_cache
from hashlib import sha256

from service.api import capability
from service.api.answers import Answer
from service.api.ask import Ask
from service.basics.errors import Fault, Invalid
from service.fhir import exact


def capabilities(ask: Ask) -> Answer:
    """The CapabilityStatement, with an ETag that changes when it does; 304 when the caller holds it."""
    if ask.once("mode") not in {"", "full", "normative"}:
        raise Invalid(Fault("not-supported", "Only mode=full and mode=normative are offered.", "mode"))
    text, tag = _text(ask.base, ask.kit.version, ask.kit.parameters)
    headers = ((b"etag", tag.encode()),)
    if tag in {known.strip() for known in ask.headers.get("if-none-match", "").split(",")}:
        return Answer(304, headers=headers)
    return Answer(200, text, headers)


@lru_cache(maxsize=8)
def _text(base: str, version: str, parameters: Callable[[str], Sequence[tuple[str, str, str]]]) -> tuple[bytes, str]:
    text = exact.encode(capability.statement(base, version=version, parameters=parameters))
    return text, f'W/"{sha256(text).hexdigest()[:16]}"'
