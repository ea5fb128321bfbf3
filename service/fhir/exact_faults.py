"""JSON text that the fast reader refused or may have misread -> its value, or every fault of the text by name."""

import json
import re
from collections import Counter
from collections.abc import Iterator
from decimal import Decimal, InvalidOperation
from itertools import islice
from typing import Any, NoReturn

from service.basics.errors import Fault, Invalid

MAX_DIGITS = 4300  # as Python itself takes for a whole number
MAX_EXPONENT = 400
MOST = 200  # faults told of one text

_SURROGATE = re.compile("[\ud800-\udfff]")
_IS_TYPE = re.compile("[A-Z]")


class _Twice(dict[str, Any]):
    """An object in which `names` came more than once."""

    names: tuple[str, ...] = ()


def number(text: str) -> Decimal:
    """A JSON number with fraction or exponent; Invalid when it has too many digits or too large an exponent."""
    mantissa, _, exponent = text.lower().partition("e")
    if len(mantissa) > MAX_DIGITS or len(exponent.lstrip("+-0")) > 3 or abs(int(exponent or 0)) > MAX_EXPONENT:
        raise Invalid(
            _fault(f"the number {text[:20]}... has more than {MAX_DIGITS} digits or an exponent beyond {MAX_EXPONENT}")
        )
    try:
        return Decimal(text)
    except InvalidOperation as error:
        raise Invalid(_fault(f"{text[:20]} is not a number")) from error


def read(text: bytes, *, limit_depth: int) -> Any:
    """The value of the text read slowly and strictly; raises Invalid with every fault that can be told apart."""
    try:
        value = _strict.decode(text.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise Invalid(_fault(f"the text is not UTF-8 at byte {error.start}")) from error
    except json.JSONDecodeError as error:
        raise Invalid(_fault(f"not JSON at line {error.lineno}, column {error.colno}: {error.msg}")) from error
    except RecursionError as error:
        raise too_deep(limit_depth) from error
    faults = list(islice(_faults(value, place="", depth=limit_depth), MOST))
    if faults:
        raise Invalid(*faults)
    return value


def too_deep(limit: int) -> Invalid:
    """The refusal of a text whose objects and lists are nested deeper than `limit`."""
    return Invalid(_fault(f"objects and lists are nested deeper than {limit}"))


def _fault(text: str, where: str = "") -> Fault:
    return Fault("structure", text, where)


def _integer(text: str) -> int | Decimal:
    if text == "-0":
        return Decimal(text)
    if len(text) > MAX_DIGITS:
        raise Invalid(_fault(f"the number {text[:20]}... has more than {MAX_DIGITS} digits"))
    return int(text)


def _no_constant(text: str) -> NoReturn:
    raise Invalid(_fault(f"{text} is not a JSON number"))


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    plain = dict(pairs)
    if len(plain) == len(pairs):
        return plain
    twice = _Twice(plain)
    twice.names = tuple(name for name, times in Counter(name for name, _ in pairs).items() if times > 1)
    return twice


_strict = json.JSONDecoder(
    parse_float=number, parse_int=_integer, parse_constant=_no_constant, object_pairs_hook=_object
)


def _faults(value: Any, *, place: str, depth: int) -> Iterator[Fault]:
    if isinstance(value, str):
        yield from _of_text(value, place)
    elif isinstance(value, dict | list) and depth <= 0:
        yield _fault("objects and lists are nested too deep here", place)
    elif isinstance(value, dict):
        yield from _of_object(value, place=place, depth=depth)
    elif isinstance(value, list):
        for at, item in enumerate(value):
            yield from _faults(item, place=f"{place}[{at}]", depth=depth - 1)


def _of_text(value: str, place: str) -> Iterator[Fault]:
    if "\0" in value:
        yield _fault("text holds the character NUL (\\u0000), which FHIR does not allow", place)
    if _SURROGATE.search(value):
        yield _fault("text holds half of a surrogate pair, which is no character", place)


def _of_object(value: dict[str, Any], *, place: str, depth: int) -> Iterator[Fault]:
    kind = value.get("resourceType")
    if not place and isinstance(kind, str) and _IS_TYPE.match(kind):
        place = kind
    if isinstance(value, _Twice):
        for name in value.names:
            yield _fault(f'the key "{_shown(name)}" comes more than once in one object', _join(place, name))
    for name, item in value.items():
        yield from _of_text(name, place)
        yield from _faults(item, place=_join(place, name), depth=depth - 1)


def _join(place: str, name: str) -> str:
    return f"{place}.{_shown(name)}" if place else _shown(name)


def _shown(name: str) -> str:
    return name[:64].encode("ascii", "backslashreplace").decode("ascii").replace("\0", "\\u0000")
