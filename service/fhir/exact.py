"""JSON text <-> plain Python values with every digit of every number kept; faults of the text are refused by name."""

import re
from datetime import UTC, datetime
from decimal import Decimal
from itertools import islice
from typing import Any

import msgspec

from service.basics.errors import Fault, TooLarge
from service.fhir import exact_faults
from service.fhir.model_dict import as_dict

__all__ = ["as_dict", "decode", "elements", "encode", "instant", "pretty", "trusted"]

DEPTH = 64
MANY = 100_000
"""How many values one text may hold: each costs far more memory and time than its bytes."""

_ESCAPED = re.compile(rb"\\u00(00|22)")
_SMALL = re.compile(rb"[0-9]E-[0-9]")
_TO_COMMA = re.compile(rb'(?:[^",]++|"(?:[^"\\]++|\\.)*+")*+,', re.DOTALL)  # one that is not inside a text
_MINUS_ZERO = re.compile(rb"-0[\s,}\]]|-0$")
_encoder = msgspec.json.Encoder(decimal_format="number")


def _number(text: str) -> Decimal:
    if len(text) > 20 or "e" in text or "E" in text:
        return exact_faults.number(text)
    return Decimal(text)


_decoder = msgspec.json.Decoder(float_hook=_number)
Element = msgspec.Raw  # the text of one element; two can be compared
_shallow = msgspec.json.Decoder(dict[str, msgspec.Raw])


def decode(text: bytes, *, limit_depth: int = DEPTH) -> Any:
    """The value of one JSON text: dict, list, str, bool, None, int, and Decimal for a fraction or exponent.

    Raises Invalid (reason "structure", one fault a place) for anything that is not exactly one well-formed value:
    wrong encoding, NaN, a key twice in one object, NUL, half a surrogate pair, absurd numbers, too deep nesting.
    Raises TooLarge for more than MANY values, before any of them is made."""
    if text[:3] == b"\xef\xbb\xbf":
        text = text[3:]
    if text.count(b",") >= MANY and next(islice(_TO_COMMA.finditer(text), MANY - 1, None), None):
        raise TooLarge(Fault("too-costly", f"The text holds more than {MANY} values. Send it in smaller parts."))
    try:
        value = _decoder.decode(text)
    except (ValueError, RecursionError):
        return exact_faults.read(text, limit_depth=limit_depth)
    if _misread(text, value):
        return exact_faults.read(text, limit_depth=limit_depth)
    if text.count(b"{") + text.count(b"[") > limit_depth and _deeper(value, limit_depth):
        raise exact_faults.too_deep(limit_depth)
    return value


def trusted(text: bytes | Element) -> Any:
    """The value of a text that `encode` made: nothing in it can be misread, so nothing is looked for."""
    return _decoder.decode(text)


def elements(text: bytes) -> dict[str, Element]:
    """The elements of an object that `encode` made, each still as its text."""
    return _shallow.decode(text)


def _misread(text: bytes, value: Any) -> bool:
    """Whether the fast reader may have let something pass: a NUL, the sign of the integer -0, a key twice."""
    if (b"\\" in text and _ESCAPED.search(text)) or _MINUS_ZERO.search(text):
        return True
    # A key that came twice took its quotes along when it was dropped; no other quote is lost or won.
    return text.count(b'"') != _encoder.encode(value).count(b'"')


def _deeper(value: Any, limit: int) -> bool:
    level = [value] if isinstance(value, dict | list) else []
    for _ in range(limit):
        if not level:
            return False
        level = [v for x in level for v in (x.values() if type(x) is dict else x) if type(v) is dict or type(v) is list]
    return bool(level)


def encode(value: Any) -> bytes:
    """Compact UTF-8 JSON of plain values; keys keep their order and Decimals all their digits (0.40, 0.0000001)."""
    out = _encoder.encode(value)
    return _encoder.encode(_plain(value)) if b"E-" in out and _SMALL.search(out) else out


def _plain(value: Any) -> Any:
    """The same value with small Decimals spelt without exponent, as senders write them."""
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, Decimal) and "E-" in str(value):
        return msgspec.Raw(format(value, "f").encode())
    return value


def pretty(text: bytes) -> bytes:
    """The same JSON text indented by two spaces; numbers are not touched."""
    return msgspec.json.format(text, indent=2)


def instant(moment: datetime) -> str:
    """An aware datetime as FHIR instant in UTC with milliseconds: 2026-11-25T13:04:29.123Z."""
    if moment.tzinfo is None:
        raise ValueError("an instant needs its time zone")
    if moment.tzinfo is not UTC:
        moment = moment.astimezone(UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
