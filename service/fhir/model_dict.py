"""A fhir.resources model -> the dict of its FHIR JSON, Decimals kept (its own dump turns them into floats)."""

from collections.abc import Hashable, Iterator
from datetime import UTC, date, datetime, time
from decimal import Decimal
from functools import lru_cache
from typing import Any, cast


def as_dict(model: Any) -> dict[str, Any]:
    """A fhir.resources model as FHIR JSON values: alias names in FHIR's order, Decimals kept, nothing empty."""
    head = {"resourceType": model.get_resource_type()} if model.has_resource_base() else {}
    return {**head, **dict(_members(model))}


def _members(model: Any) -> Iterator[tuple[str, Any]]:
    for field, name in _fields(cast(Hashable, type(model))):  # mypy sees no hash in type[Any]
        value = getattr(model, field)
        if value is None or value == []:
            continue
        plain = _plain(value)
        if plain != {}:
            yield name, plain


@lru_cache(maxsize=512)
def _fields(kind: Any) -> tuple[tuple[str, str], ...]:
    order = {name: at for at, name in enumerate(kind.elements_sequence())}
    named = [(field, spec.alias or field) for field, spec in kind.model_fields.items() if field != "fhir_comments"]
    last = len(order)
    return tuple(sorted(named, key=lambda pair: (order.get(pair[1].lstrip("_"), last), pair[1].startswith("_"))))


def _plain(value: Any) -> Any:
    if value is None or isinstance(value, bool | int | str | Decimal):
        return value
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, bytes):
        return value.decode("ascii")
    if isinstance(value, date | time):  # a datetime is a date
        return _moment(value)
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    return as_dict(value)


def _moment(value: date | time) -> str:
    if not isinstance(value, datetime):
        return value.isoformat()
    digits = "seconds" if not value.microsecond else "microseconds" if value.microsecond % 1000 else "milliseconds"
    text = value.isoformat(timespec=digits)
    return text.replace("+00:00", "Z") if value.utcoffset() == UTC.utcoffset(None) else text
