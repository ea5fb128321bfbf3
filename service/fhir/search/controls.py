"""Parameters that say how a search answers: order, page, total, what comes along, how much of each."""

from collections.abc import Callable
from dataclasses import dataclass, field

from service.basics.query import NEWEST, Criterion, Include, Query, Sort
from service.fhir.partial import elements
from service.fhir.search.asked import BadValue, Place
from service.fhir.search.coming import include
from service.fhir.search.elements import words
from service.fhir.search.hashed import key
from service.fhir.search.table import Row, own_date, rows

LARGEST_PAGE = 500
_LEVELS = 5
_SUMMARIES = ("true", "text", "data", "count")


@dataclass(slots=True)
class Draft:
    """A query while its parameters are read."""

    type: str
    criteria: list[Criterion] = field(default_factory=list)
    used: list[tuple[str, str]] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)
    count: int = 50
    sort: tuple[Sort, ...] = NEWEST
    total: str = ""
    summary: str = ""
    elements: list[str] = field(default_factory=list)
    includes: list[Include] = field(default_factory=list)

    def query(self, place: Place) -> Query:
        """The query so far, without what judges replaced versions."""
        return Query(
            type=place.type,
            criteria=tuple(self.criteria),
            used=tuple(self.used),
            ignored=tuple(self.ignored),
            count=self.count,
            sort=self.sort,
            total=self.total,
            summary=self.summary,
            elements=tuple(self.elements),
            includes=tuple(self.includes),
        )


def _count(draft: Draft, _place: Place, value: str, _modifier: str) -> None:
    if not (value.isascii() and value.isdigit() and len(value) < 10):
        raise BadValue("_count needs a whole number that is not negative")
    draft.count = min(int(value), LARGEST_PAGE)
    if draft.count == 0:  # R4: the same as _summary=count
        draft.summary = "count"


def _sort(draft: Draft, place: Place, value: str, _modifier: str) -> None:
    names = [name for name in value.split(",") if name]
    if not 0 < len(names) <= _LEVELS:
        raise BadValue(f"_sort needs one to {_LEVELS} parameters")
    draft.sort = tuple(_level(place, name.removeprefix("-"), descending=name[0] == "-") for name in names)


def _level(place: Place, code: str, *, descending: bool) -> Sort:
    if code in ("_id", "_lastUpdated"):
        return Sort("id" if code == "_id" else "updated", descending=descending)
    row = rows()[place.type].get(code)
    if row is None or row.kind == "composite":
        raise BadValue(f"{place.type} cannot be sorted by {code}")
    number = key(place.organization, place.type, row.alias or row.code, "")
    if row.union or row.kind in ("token", "reference", "uri"):
        return Sort("word", descending=descending, words=_reads(row))
    if row.kind == "string":
        return Sort("text", number, descending=descending)
    return Sort("low", number, descending=descending, own=row == own_date(place.type))


def _reads(row: Row) -> Callable[[bytes], list[str]]:
    return lambda body: list(words(body, row))


def _summary(draft: Draft, _place: Place, value: str, _modifier: str) -> None:
    if value not in (*_SUMMARIES, "false"):
        raise BadValue(f"_summary is one of {', '.join(_SUMMARIES)}, false")
    if draft.summary != "count":
        draft.summary = "" if value == "false" else value


def _total(draft: Draft, _place: Place, value: str, _modifier: str) -> None:
    if value not in ("none", "estimate", "accurate"):
        raise BadValue("_total is none, estimate or accurate")
    draft.total = "" if value == "estimate" else value


def _elements(draft: Draft, place: Place, value: str, _modifier: str) -> None:
    wanted = [name.removeprefix(f"{place.type}.") for name in value.split(",") if name]
    unknown = [name for name in wanted if name not in elements(place.type)]
    if unknown or not wanted:
        raise BadValue(f"_elements names what {place.type} does not have: {', '.join(unknown) or value}")
    draft.elements += wanted


def _include(draft: Draft, _place: Place, value: str, modifier: str) -> None:
    draft.includes.append(include("_include", value, reverse=False, iterate=modifier == "iterate"))


def _revinclude(draft: Draft, _place: Place, value: str, modifier: str) -> None:
    draft.includes.append(include("_revinclude", value, reverse=True, iterate=modifier == "iterate"))


CONTROLS: dict[str, Callable[[Draft, Place, str, str], None]] = {
    "_count": _count,
    "_sort": _sort,
    "_summary": _summary,
    "_total": _total,
    "_elements": _elements,
    "_include": _include,
    "_revinclude": _revinclude,
}
