"""The place where a page ended, turned into opaque text and back."""

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Sequence

from service.basics.errors import Fault, Invalid

Value = int | str | None


def write(*numbers: int) -> str:
    """Opaque text for a tuple of whole numbers."""
    return ".".join(format(n, "x") for n in numbers)


def read(text: str, *, size: int) -> tuple[int, ...]:
    """The numbers again; Invalid when it is not a position of ours."""
    try:
        numbers = tuple(int(part, 16) for part in text.split("."))
    except ValueError:
        numbers = ()
    if len(numbers) != size or not all(_small(n) for n in numbers):
        raise not_ours()
    return numbers


def pack(values: Sequence[Value]) -> str:
    """Opaque text for whole numbers and texts."""
    return urlsafe_b64encode(json.dumps(values, separators=(",", ":")).encode()).decode().rstrip("=")


def unpack(text: str) -> tuple[Value, ...]:
    """The values again; Invalid when it is not a position of ours."""
    try:
        values = json.loads(urlsafe_b64decode(text.encode() + b"=" * (-len(text) % 4)))
    except (ValueError, RecursionError) as error:
        raise not_ours() from error
    if not isinstance(values, list) or not all(value is None or _sound(value) for value in values):
        raise not_ours()
    return tuple(values)


def not_ours() -> Invalid:
    """The position was not given by this service."""
    return Invalid(Fault("value", "This page link is not one that this service gave."))


def _sound(value: object) -> bool:
    return (isinstance(value, str) and "\0" not in value) or _small(value)


def _small(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and abs(value) < 1 << 63
