"""The parameters of one search -> a Query that the store can run."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from service.basics.errors import Fault, Invalid
from service.basics.query import Criterion, Ids, Query
from service.fhir.search import dates
from service.fhir.search.criteria import Asked, BadValue, criterion
from service.fhir.search.table import rows
from service.fhir.search.values import alternatives, unescaped

LARGEST_PAGE = 500
_SORTS = {"_lastUpdated": True, "-_lastUpdated": False}
_PRESENTATION = frozenset({"_format", "_pretty"})  # read where answers are written


@dataclass(slots=True)
class _Draft:
    """A query while its parameters are read."""

    criteria: list[Criterion] = field(default_factory=list)
    used: list[tuple[str, str]] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)
    count: int = 50
    oldest_first: bool = False
    total: bool = True
    summary: str = ""


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a search asks: organisation, type, our own base URL."""

    organization: str
    type: str
    base: str


def parse(
    organization: str, type_: str, params: Sequence[tuple[str, str]], *, strict: bool = False, base: str = ""
) -> Query:
    """The query of (name, value) pairs, AND by repetition and OR by comma; base is our own base URL.

    Raises Invalid with every fault: a value or modifier that cannot be understood, a chain, and, when strict, a
    parameter that is not known (else it is listed in Query.ignored). A parameter without a value is passed over."""
    draft, faults = _Draft(), []
    place = _Place(organization, type_, base)
    for name, value in params:
        if value == "" or name in _PRESENTATION:
            continue
        try:
            _read(draft, place, name=name, value=value)
        except BadValue as error:
            faults.append(Fault("not-supported" if "not offered" in str(error) else "value", str(error)))
    if strict:
        faults += [
            Fault("not-supported", f"the search parameter {name} is not known for {type_}") for name in draft.ignored
        ]
    if faults:
        raise Invalid(*faults)
    return _finished(type_, draft)


def _finished(type_: str, draft: _Draft) -> Query:
    return Query(
        type=type_,
        criteria=tuple(draft.criteria),
        used=tuple(draft.used),
        ignored=tuple(draft.ignored),
        count=draft.count,
        oldest_first=draft.oldest_first,
        total=draft.total,
        summary=draft.summary,
    )


def _read(draft: _Draft, place: _Place, *, name: str, value: str) -> None:
    code, _, modifier = name.partition(":")
    if code in _CONTROLS:
        if modifier:
            raise BadValue(f"the modifier :{modifier} is not offered on {code}")
        _CONTROLS[code](draft, value)
    elif not _add(draft, place, code=code, modifier=modifier, value=value):
        draft.ignored.append(name)
        return
    draft.used.append((name, value))


def _add(draft: _Draft, place: _Place, *, code: str, modifier: str, value: str) -> bool:
    known = rows().get(place.type, {})
    row = known.get(code)
    if row is None:
        if code == "_has" or ("." in code and code.partition(".")[0] in known):
            raise BadValue(f"a search through another resource ({code}) is not offered")
        return False
    if "." in modifier:
        raise BadValue(f"a search through another resource ({code}:{modifier}) is not offered")
    values = tuple(alternatives(value))
    if not values:
        raise BadValue(f"{code} needs a value")
    draft.criteria.append(criterion(Asked(place.organization, place.type, row, modifier, values, place.base)))
    return True


def _ids(draft: _Draft, value: str) -> None:
    draft.criteria.append(Ids(tuple(unescaped(one) for one in alternatives(value))))


def _last_updated(draft: _Draft, value: str) -> None:
    prefix, stretch = dates.split(value)
    if stretch is None:
        raise BadValue("_lastUpdated needs one date such as ge2026-11-25 or lt2026-11-25T13:04:29Z")
    bounds = dates.updated(prefix, stretch)
    if bounds is None:
        raise BadValue("the prefix ne is not offered on _lastUpdated")
    draft.criteria.append(bounds)


def _count(draft: _Draft, value: str) -> None:
    if not (value.isascii() and value.isdigit() and len(value) < 10):
        raise BadValue("_count needs a whole number that is not negative")
    draft.count = min(int(value), LARGEST_PAGE)
    if draft.count == 0:  # R4: the same as _summary=count
        draft.summary = "count"


def _sort(draft: _Draft, value: str) -> None:
    if value not in _SORTS:
        raise BadValue("sorting is not offered but by _lastUpdated or -_lastUpdated")
    draft.oldest_first = _SORTS[value]


def _summary(draft: _Draft, value: str) -> None:
    if value == "count":
        draft.summary = "count"
    elif value != "false":
        raise BadValue("_summary is not offered but as count or false")


def _total(draft: _Draft, value: str) -> None:
    if value not in ("none", "estimate", "accurate"):
        raise BadValue("_total is none, estimate or accurate")
    draft.total = value != "none"


_CONTROLS: dict[str, Callable[[_Draft, str], None]] = {
    "_id": _ids,
    "_lastUpdated": _last_updated,
    "_count": _count,
    "_sort": _sort,
    "_summary": _summary,
    "_total": _total,
}
