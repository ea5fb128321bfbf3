"""Observations into the latest of each code."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from service.actions.ports import View
from service.actions.writing import Json, decoded
from service.basics.errors import Fault, Invalid
from service.basics.query import Query
from service.basics.stored import Stored
from service.fhir import moments

MOST = 10_000
"""How many Observations are looked at."""
_PAGE = 500
_TIMES = ("effectiveDateTime", "effectivePeriod", "effectiveInstant", "effectiveTiming", "issued")
Key = tuple[str, str]


@dataclass(frozen=True, slots=True)
class _One:
    stored: Stored
    keys: frozenset[Key]
    time: int


def latest(view: View, query: Query, *, most: int) -> list[Stored]:
    """For each code the `most` latest matches, the latest first, and any that are just as late as the last of them.

    Observations that share a coding are of one code; without a coding the text is the code. Those entered in error are
    left out. Raises Invalid when there are too many to look at."""
    ones = list(_all(view, query))
    groups: dict[Key, list[_One]] = {}
    first = _joined(ones)
    for one in ones:
        groups.setdefault(first[min(one.keys)], []).append(one)
    return [one.stored for key in sorted(groups) for one in _latest(groups[key], most)]


def _latest(group: list[_One], most: int) -> list[_One]:
    ordered = sorted(group, key=lambda one: (one.time, one.stored.id), reverse=True)
    last = ordered[:most][-1].time
    return [one for one in ordered if one.time >= last]


def _all(view: View, query: Query) -> Iterator[_One]:
    query = replace(query, count=_PAGE, total="none", summary="", after="")
    looked = 0
    while True:
        page = view.search(query)
        looked += len(page.matches)
        if looked > MOST:
            text = f"More than {MOST} Observations match: narrow it by code, category or date."
            raise Invalid(Fault("too-costly", text))
        for stored in page.matches:
            resource = decoded(stored)
            if resource.get("status") != "entered-in-error":
                yield _read(stored, resource)
        if not page.after:
            return
        query = replace(query, after=page.after)


def _read(stored: Stored, resource: Json) -> _One:
    value = next((resource[name] for name in _TIMES if name in resource), None)
    stretch = moments.of(value) if value is not None else None
    return _One(stored, _keys(resource.get("code", {})), stretch[1] if stretch else moments.EARLIEST)


def _keys(code: Json) -> frozenset[Key]:
    codings = [(str(c.get("system", "")), str(c["code"])) for c in code.get("coding", []) if c.get("code")]
    return frozenset(codings) or frozenset({("", str(code.get("text", "")))})


def _joined(ones: list[_One]) -> dict[Key, Key]:
    """Key -> the first key of all that are joined to it by standing in one Observation."""
    first: dict[Key, Key] = {}
    for one in ones:
        joined = {first.get(key, key) for key in one.keys} | one.keys
        lead = min(joined)
        for key in [known for known, at in first.items() if at in joined] + list(joined):
            first[key] = lead
    return first
