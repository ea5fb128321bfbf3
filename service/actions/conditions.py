"""Criteria of conditional requests into the resources that match them, never more than a person meant."""

from collections.abc import Collection
from urllib.parse import parse_qsl

from service.actions.ports import House, Work
from service.basics.entries import Entry
from service.basics.errors import Fault, Invalid, Stale
from service.basics.query import Query
from service.basics.stored import Stored
from service.fhir import search

CONTROL = frozenset(
    {"_count", "_sort", "_summary", "_elements", "_total", "_include", "_revinclude", "_format", "_pretty", "_page"}
    | {"_contained", "_containedType", "_type"}
)


def criteria_of(entry: Entry) -> str:
    """The criteria of a conditional create or update, decoded and in one order, as they are claimed; "" for others."""
    return "&".join(f"{k}={v}" for k, v in sorted(parse_qsl(given(entry), keep_blank_values=True)))


def given(entry: Entry) -> str:
    """The criteria as they came, percent-encoded; "" for an entry without a condition of this kind."""
    if entry.method == "POST":
        return entry.if_none_exist or ""
    return "" if entry.reads else entry.criteria


def parsed(house: House, organization: str, type_: str, criteria: str, *, where: str) -> Query:
    """Criteria that must all be understood; raises Invalid, for an unknown one must never match everything."""
    pairs = parse_qsl(criteria, keep_blank_values=True)
    empty = [k for k, v in pairs if not v.strip()]
    control = [k for k, _ in pairs if k.partition(":")[0] in CONTROL]
    if not pairs or empty or control:
        what = f"{(empty or control)[0]} cannot be a criterion" if pairs else "there is no criterion"
        raise Invalid(Fault("invalid", f"The condition {criteria!r} is not usable: {what}.", where))
    return search.parse(organization, type_, pairs, strict=True, base=house.base)


def at_most_one(house: House, work: Work, entry: Entry, *, where: str, leaving: Collection[str] = ()) -> Stored | None:
    """The resource that an entry's criteria match, None when nothing does; raises Stale when several do.

    leaving: references of what this transaction deletes; they match nothing any more."""
    query = parsed(house, work.organization, entry.type, given(entry), where=where)
    matches = [m for m in work.search(query).matches if f"{m.type}/{m.id}" not in leaving]
    if len(matches) > 1:
        text = f"Several resources match {entry.type}?{criteria_of(entry)}; a condition must match at most one."
        raise Stale(Fault("multiple-matches", text, where))
    return matches[0] if matches else None
