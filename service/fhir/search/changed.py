"""Two versions of a resource -> the keys that tell them apart, from the elements that changed and what they touch."""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from service.basics.stored import Keys
from service.fhir import exact
from service.fhir.search import referrers
from service.fhir.search.index import kept, keys, read
from service.fhir.search.table import Row, dated, rows, shadows

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class _Reach:
    """The elements to be read again when some changed, and the parameters that they tell all about."""

    elements: frozenset[str]
    covers: int


def changed(organization: str, before: bytes, after: bytes) -> tuple[Keys, Keys]:
    """(keys of the former text, keys of the new one), without what both have from elements that stayed as they were.

    Both are texts of one resource as `exact.encode` made them: a report makes a hundred Observations final, and of each
    only the status is new."""
    was, now = exact.elements(before), exact.elements(after)
    names = frozenset(name for name, text in now.items() if was.get(name) != text) | (was.keys() - now.keys())
    reach = _reach(exact.trusted(now["resourceType"]), names)
    if reach is None or any(referrers.named(one[name]) for one in (was, now) for name in names & one.keys()):
        return keys(organization, exact.trusted(before)), keys(organization, exact.trusted(after))
    old, new = (kept(read(organization, _part(one, reach))) for one in (was, now))
    return old, replace(new, covers=reach.covers)


def _part(elements: dict[str, exact.Element], reach: _Reach) -> Json:
    return {name: exact.trusted(elements[name]) for name in ("resourceType", *reach.elements) if name in elements}


@lru_cache(maxsize=1024)
def _reach(type_: str, names: frozenset[str]) -> _Reach | None:
    """None when all keys change: each bears the resource's own date."""
    if names & set(dated(type_)):
        return None
    own = [row for row in rows()[type_].values() if not (row.alias or row.union or row.pairs)]
    touched = names.union(*(_tops(row) for row in own if _tops(row) & names), dated(type_))
    covers = 0
    for row in own:
        if _tops(row) <= touched:
            covers |= row.bit
            for other in shadows(type_, row.code):
                covers |= other.bit
    return _Reach(touched, covers)


def _tops(row: Row) -> frozenset[str]:
    return frozenset(path[0] for path in row.paths)
