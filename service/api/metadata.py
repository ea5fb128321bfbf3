"""GET metadata: what is offered, built once and answered as bytes."""

from functools import lru_cache
from hashlib import sha256

from service.api import capability
from service.api.answers import Answer
from service.api.ask import Ask
from service.api.capability import Parameters
from service.basics.errors import Fault, Invalid
from service.fhir import exact, partial


def capabilities(ask: Ask) -> Answer:
    """The CapabilityStatement, with an ETag that changes when it does; 304 when the caller holds it."""
    if ask.once("mode") not in {"", "full", "normative"}:
        raise Invalid(Fault("not-supported", "Only mode=full and mode=normative are offered.", "mode"))
    summary, wanted = _summary(ask.once("_summary")), _elements(ask.once("_elements"))
    text, tag = _whole(ask.base, ask.kit.version, ask.kit.parameters)
    if summary or wanted:
        text = partial.part(text, summary=summary, wanted=wanted)
        tag = _tag(text)
    headers = ((b"etag", tag.encode()),)
    if tag in {known.strip() for known in ask.headers.get("if-none-match", "").split(",")}:
        return Answer(304, headers=headers)
    return Answer(200, text, headers)


def _summary(text: str) -> str:
    if text not in {"", "true", "text", "data", "false"}:
        raise Invalid(Fault("value", "_summary can be true, text, data or false.", "_summary"))
    return text


def _elements(text: str) -> tuple[str, ...]:
    names = tuple(sorted({name.strip() for name in text.split(",") if name.strip()}))
    unknown = [name for name in names if name not in partial.elements("CapabilityStatement")]
    if unknown:
        told = f"_elements names what a CapabilityStatement does not have: {', '.join(unknown)}."
        raise Invalid(Fault("value", told, "_elements"))
    return names


@lru_cache(maxsize=8)
def _whole(base: str, version: str, parameters: Parameters) -> tuple[bytes, str]:
    text = exact.encode(capability.statement(base, version=version, parameters=parameters))
    return text, _tag(text)


def _tag(text: bytes) -> str:
    return f'W/"{sha256(text).hexdigest()[:16]}"'
