"""One parameter name, perhaps leading through other resources (chain, _has), with its value -> a criterion."""

from collections.abc import Callable, Iterable
from dataclasses import replace

from service.basics.judging import reads
from service.basics.query import Backward, Criterion, Either, Forward, Ids, Not, Updated
from service.fhir import exact
from service.fhir.search import dates
from service.fhir.search.asked import Asked, BadValue, Place
from service.fhir.search.criteria import criterion
from service.fhir.search.elements import links
from service.fhir.search.pointed import targets
from service.fhir.search.table import Row, rows
from service.fhir.search.values import alternatives, unescaped
from service.fhir.types import STORABLE

MOST = 1000  # alternatives of one parameter


def criterion_of(place: Place, name: str, value: str) -> Criterion | None:
    """What must hold; None for a parameter that is not known. Raises BadValue for what makes no sense."""
    if name.partition(":")[0] == "_has":
        return _backward(place, name, value)
    head, dot, rest = name.partition(".")
    code, _, modifier = head.partition(":")
    if code in _SHARED:
        return _shared(code, modifier or rest, value)
    row = rows().get(place.type, {}).get(code)
    if row is None:
        return None
    values = tuple(alternatives(value))
    if not 0 < len(values) <= MOST:
        raise BadValue(f"{code} needs a value, and takes at most {MOST}")
    asked = Asked(place, row, modifier, values)
    return _forward(asked, rest, value) if dot else criterion(asked)


def _forward(asked: Asked, rest: str, value: str) -> Criterion:
    if asked.row.kind != "reference" or (asked.modifier and asked.modifier not in STORABLE):
        raise BadValue(f"{asked.row.code} leads to no other resource")
    types, found = targets(asked), list[Criterion]()
    for type_ in types:
        inner = criterion_of(_through(asked.place, type_), rest, value) if _knows(type_, rest) else None
        if inner is not None:
            _indexed(inner, rest)
            found.append(Forward(type_, (inner,), _keys(asked, type_)))
    if not found:
        raise BadValue(f"{rest} is not known for what {asked.row.code} leads to ({', '.join(types)})")
    return found[0] if len(found) == 1 else Either(tuple(found))


def _indexed(inner: Criterion, rest: str) -> None:
    if reads(inner):
        raise BadValue(f"{rest} is not offered through another resource")


def _knows(type_: str, rest: str) -> bool:
    code = rest.partition(".")[0].partition(":")[0]
    return type_ in rows() and (code in _SHARED or code == "_has" or code in rows()[type_])


def _keys(asked: Asked, type_: str) -> Callable[[str], tuple[int, ...]]:
    return lambda id_: (asked.key(f"{type_}/{id_}"),)


def _through(place: Place, type_: str) -> Place:
    if place.depth == 0:
        raise BadValue("a search may lead through two other resources at most")
    return replace(place, type=type_, depth=place.depth - 1)


def _backward(place: Place, name: str, value: str) -> Criterion:
    parts = name.split(":", 3)
    if len(parts) != 4 or parts[1] not in rows():
        raise BadValue("_has needs a type, a reference parameter and a parameter: _has:Observation:patient:code")
    _, type_, code, rest = parts
    row = rows()[type_].get(code)
    if row is None or row.kind != "reference":
        raise BadValue(f"{code} is no reference parameter of {type_}")
    inner = criterion_of(_through(place, type_), rest, value)
    if inner is None:
        raise BadValue(f"{rest} is not known for {type_}")
    _indexed(inner, rest)
    return Backward(type_, (inner,), _ids(row, place))


def _ids(row: Row, place: Place) -> Callable[[bytes], Iterable[str]]:
    def read(body: bytes) -> Iterable[str]:
        return [id_ for _, id_ in links(exact.decode(body), row, target=place.type, base=place.base)]

    return read


def _shared(code: str, modifier: str, value: str) -> Criterion:
    if modifier:
        raise BadValue(f"the modifier :{modifier} is not offered on {code}")
    return _SHARED[code](alternatives(value))


def _id(values: list[str]) -> Criterion:
    return Ids(tuple(unescaped(one) for one in values))


def _last_updated(values: list[str]) -> Criterion:
    found = [_updated(value) for value in values]
    return found[0] if len(found) == 1 else Either(tuple(found))


def _updated(value: str) -> Criterion:
    prefix, stretch = dates.split(unescaped(value))
    if stretch is None:
        raise BadValue("_lastUpdated needs a date such as ge2026-11-25 or lt2026-11-25T13:04:29Z")
    bounds = dates.updated(prefix, stretch)
    return bounds if bounds is not None else Not(Updated(*stretch))


_SHARED: dict[str, Callable[[list[str]], Criterion]] = {"_id": _id, "_lastUpdated": _last_updated}
