"""An animal into everything about it, page by page: its compartment, its Tasks, and whom and what these name."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache

from service.actions.ports import House, View
from service.actions.writing import decoded
from service.basics.errors import Fault, Invalid
from service.basics.query import Ids, Page, Query
from service.basics.stored import Stored
from service.fhir import moments, search
from service.fhir.compartments import compartments
from service.fhir.reading.links import links
from service.fhir.search.table import dated

NAMED = frozenset({"Binary", "Device", "Endpoint", "Location", "Organization", "Practitioner", "PractitionerRole"})
"""Types of no patient's compartment that are given besides, where something on the page names them."""


@cache
def _stages() -> tuple[tuple[str, str], ...]:
    """(type, parameter) of the searches that find what belongs to an animal; the audit is read at its own place."""
    held = compartments()["Patient"] | {"Task": ["patient"]}
    found = ((type_, code) for type_, codes in held.items() for code in codes if type_ != "AuditEvent")
    return ("Patient", "_id"), *found


def types() -> frozenset[str]:
    """Every type that can be part of it."""
    return NAMED | {type_ for type_, _ in _stages()}


@dataclass(frozen=True, slots=True)
class Wanted:
    """types: only these, all when empty. since: an instant, "" for all. start and end bound care, in microseconds.

    may: whether the caller may read a type. after: where the page begins."""

    may: Callable[[str], bool]
    types: frozenset[str] = frozenset()
    since: str = ""
    start: int = moments.EARLIEST
    end: int = moments.LATEST
    count: int = 50
    after: str = ""

    def has(self, type_: str) -> bool:
        """Whether resources of this type are wanted and may be seen."""
        return (not self.types or type_ in self.types) and self.may(type_)


@dataclass(frozen=True, slots=True)
class Found:
    """One page: each match stands on one page only; named is what they name; after is "" on the last page."""

    matches: tuple[Stored, ...]
    named: tuple[Stored, ...]
    after: str


def everything(house: House, view: View, animal: str, wanted: Wanted) -> Found:
    """One page of everything about Patient/<animal>. Raises Invalid for a position that is not ours."""
    walk = _Walk(house, view, animal, wanted)
    stage, after = _place(wanted.after, len(walk.stages))
    matches: list[Stored] = []
    while stage < len(walk.stages) and len(matches) < wanted.count:
        page = walk.look(stage, after, count=wanted.count - len(matches))
        matches += filter(walk.cares, walk.fresh(stage, page.matches))
        stage, after = (stage, page.after) if page.after else (stage + 1, "")
    while stage < len(walk.stages) and not after and not walk.look(stage, "", count=1).matches:
        stage += 1  # so that the last page has no next one
    following = f"{stage}.{after}" if stage < len(walk.stages) else ""
    return Found(tuple(matches), tuple(walk.named(matches)), following)


class _Walk:
    """The searches that together find everything, one after the other."""

    def __init__(self, house: House, view: View, animal: str, wanted: Wanted) -> None:
        self._house, self._view, self._animal, self._wanted = house, view, animal, wanted
        self.stages = [one for one in _stages() if wanted.has(one[0])]

    def look(self, stage: int, after: str, *, count: int) -> Page:
        """What one search finds from a position on."""
        return self._view.search(replace(self._query(*self.stages[stage]), count=count, after=after))

    def _query(self, type_: str, code: str) -> Query:
        pairs = [(code, self._animal if code == "_id" else f"Patient/{self._animal}")]
        pairs += [("_sort", "_lastUpdated"), ("_total", "none")]
        if self._wanted.since:
            pairs.append(("_lastUpdated", f"ge{self._wanted.since}"))
        return search.parse(self._view.organization, type_, pairs, strict=True, base=self._house.base)

    def fresh(self, stage: int, matches: Sequence[Stored]) -> list[Stored]:
        """Those that no earlier search of the same type has found."""
        type_ = self.stages[stage][0]
        ids = tuple(one.id for one in matches)
        known: set[str] = set()
        for earlier in self.stages[:stage] if ids else ():
            if earlier[0] == type_:
                query = self._query(*earlier)
                query = replace(query, criteria=(*query.criteria, Ids(ids)), count=len(ids))
                known |= {one.id for one in self._view.search(query).matches}
        return [one for one in matches if one.id not in known]

    def cares(self, one: Stored) -> bool:
        """Whether it is of the time that was asked for; what bears no time of care is."""
        start, end = self._wanted.start, self._wanted.end
        if (start, end) == (moments.EARLIEST, moments.LATEST):
            return True
        resource = decoded(one)
        value = next((resource[name] for name in dated(one.type) if name in resource), None)
        stretch = moments.of(value) if value is not None else None
        return stretch is None or (stretch[1] >= start and stretch[0] <= end)

    def named(self, matches: Iterable[Stored]) -> list[Stored]:
        """Whom and what the matches name, and whom and what these name in turn, each once."""
        found: dict[tuple[str, str], Stored] = {}
        asking = list(matches)
        for _ in range(2):
            asked = {key for one in asking for key in self._keys(one)} - found.keys()
            stored = self._view.get_many(sorted(asked))
            asking = [one for one in stored.values() if not one.deleted]
            found |= {(one.type, one.id): one for one in asking}
        return list(found.values())

    def _keys(self, one: Stored) -> Iterable[tuple[str, str]]:
        for _, link in links(decoded(one), base=self._house.base):
            type_, _, id_ = link.partition("/_history/")[0].partition("/")
            if type_ in NAMED and id_ and self._wanted.has(type_):
                yield type_, id_


def _place(after: str, stages: int) -> tuple[int, str]:
    stage, _, rest = after.partition(".")
    if not after:
        return 0, ""
    if not stage.isdecimal() or int(stage) >= stages:
        raise Invalid(Fault("value", "This page link is not one that this service gave."))
    return int(stage), rest
