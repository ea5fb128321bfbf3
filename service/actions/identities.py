"""Entries into identities: which resource each one makes, replaces, finds or reads."""

from collections.abc import Sequence
from urllib.parse import parse_qsl

from service.actions.pending import Pending
from service.actions.ports import House, Work
from service.basics.entries import Entry
from service.basics.errors import ConditionRequired, Conflict, Fault, Gone, Invalid, Missing, NotAllowed, Stale
from service.basics.ids import new_id
from service.basics.query import Query
from service.basics.stored import Stored
from service.fhir import search

GUARDED = frozenset({"Task", "DiagnosticReport", "ChargeItem", "Invoice", "Observation"})  # a PUT by id needs If-Match
CONTROL = frozenset({"_count", "_sort", "_summary", "_elements", "_total", "_include", "_revinclude", "_format"})


def pending(entries: Sequence[Entry]) -> list[Pending]:
    """Every entry with an id of its own; none is looked up yet."""
    return [Pending(e, e.id or new_id(), e.resource) for e in entries]


def resolve(house: House, work: Work, waiting: Sequence[Pending]) -> None:
    """Give each entry its identity, conditional ones under claims (taken in one order, so nobody waits in a ring)."""
    for one in sorted(waiting, key=lambda p: (p.entry.type, criteria_of(p.entry))):
        if criteria_of(one.entry):
            _conditional(house, work, one)
    for one in waiting:
        if one.entry.id:
            _by_id(work, one)
    _no_identity_twice(waiting)


def criteria_of(entry: Entry) -> str:
    """The criteria of a conditional create or update, decoded and in canonical order: what is claimed; "" for others."""
    return "&".join(f"{k}={v}" for k, v in sorted(parse_qsl(_given(entry), keep_blank_values=True)))


def _given(entry: Entry) -> str:
    """The criteria as they came, percent-encoded."""
    return (entry.if_none_exist if entry.method == "POST" else entry.criteria) or ""


def parsed(house: House, organization: str, type_: str, criteria: str, *, where: str) -> Query:
    """Criteria that must all be understood; raises Invalid, for an unknown one must never match everything."""
    pairs = parse_qsl(criteria, keep_blank_values=True)
    empty = [k for k, v in pairs if not v.strip()]
    control = [k for k, _ in pairs if k in CONTROL]
    if not pairs or empty or control:
        what = f"{(empty or control)[0]} cannot be a criterion" if pairs else "there is no criterion"
        raise Invalid(Fault("invalid", f"The condition {criteria!r} is not usable: {what}.", where))
    return search.parse(organization, type_, pairs, strict=True, base=house.base)


def _conditional(house: House, work: Work, one: Pending) -> None:
    entry, criteria = one.entry, criteria_of(one.entry)
    where = f"{entry.place}.request" if entry.place else ""
    query = parsed(house, work.organization, entry.type, _given(entry), where=where)
    holder = work.claim(entry.type, criteria, one.id)
    matches = work.search(query).matches
    if len(matches) > 1:
        text = f"{len(matches)} resources match {entry.type}?{criteria}; a condition must match at most one."
        raise Stale(Fault("multiple-matches", text, where))
    if not matches:
        if holder not in (None, one.id):
            work.move_claim(entry.type, criteria, one.id)
        _no_own_id(entry, where)
        return
    if holder != matches[0].id:
        work.move_claim(entry.type, criteria, matches[0].id)
    _matched(one, matches[0], where)


def _matched(one: Pending, match: Stored, where: str) -> None:
    if one.entry.method == "POST":
        one.found = match
        return
    given = (one.resource or {}).get("id")
    if given not in (None, match.id):
        text = f"The body's id {given} is not that of the matching resource, {match.id}."
        raise Invalid(Fault("invalid", text, where))
    one.id, one.before = match.id, match
    _if_match(one.entry, match, where)


def _no_own_id(entry: Entry, where: str) -> None:
    if entry.method == "PUT" and (entry.resource or {}).get("id"):
        text = (
            "Nothing matches, so a new resource is made, and ids are given by the server: leave the id out of the body."
        )
        raise Invalid(Fault("invalid", text, where))
    if entry.method == "PUT" and entry.if_match is not None:
        raise Stale(Fault("conflict", "If-Match was given but nothing matches.", where))


def _by_id(work: Work, one: Pending) -> None:
    entry = one.entry
    where = f"{entry.place}.request" if entry.place else ""
    current = work.get(entry.type, entry.id)
    if entry.method == "DELETE":
        text = f"{entry.type} is never deleted here; set its status to entered-in-error or active to false instead."
        raise NotAllowed(Fault("not-supported", text, where))
    if entry.method == "GET":
        one.found = _readable(entry, current, where)
        return
    if current is None or current.deleted:
        text = f"There is no {entry.type}/{entry.id}. The server gives ids: POST it, or PUT {entry.type}?identifier=..."
        raise NotAllowed(Fault("not-supported", text, where))
    if entry.if_match is None and entry.type in GUARDED:
        text = (
            f'Send If-Match: W/"{current.version}" if your change is based on that version of {entry.type}/{entry.id}.'
        )
        raise ConditionRequired(Fault("required", text, where))
    _if_match(entry, current, where)
    one.before = current


def _readable(entry: Entry, current: Stored | None, where: str) -> Stored:
    if current is None:
        raise Missing(Fault("not-found", f"There is no {entry.type}/{entry.id}.", where))
    if current.deleted:
        raise Gone(Fault("deleted", f"{entry.type}/{entry.id} was deleted.", where))
    return current


def _if_match(entry: Entry, current: Stored, where: str) -> None:
    if entry.if_match is not None and entry.if_match != current.version:
        text = f"{entry.type}/{current.id} is at version {current.version}, not {entry.if_match}: read it again."
        raise Stale(Fault("conflict", text, where))


def _no_identity_twice(waiting: Sequence[Pending]) -> None:
    seen: dict[str, str] = {}
    for one in waiting:
        if one.entry.method == "GET":
            continue
        if one.reference in seen:
            text = f"{one.reference} is written by {seen[one.reference]} too; a transaction writes each resource once."
            raise Invalid(Fault("invalid", text, one.entry.place))
        seen[one.reference] = one.entry.place


def unique(work: Work, one: Pending, kinds: frozenset[tuple[str, str]], identifier_types: str) -> None:
    """Claim the identifiers of kinds that belong to one resource only; raises Conflict when another one bears it."""
    for index, identifier in enumerate((one.resource or {}).get("identifier", [])):
        types = {
            c.get("code") for c in identifier.get("type", {}).get("coding", []) if c.get("system") == identifier_types
        }
        if not any((one.entry.type, t) in kinds for t in types) or not identifier.get("value"):
            continue
        criteria = f"identifier={identifier.get('system', '')}|{identifier['value']}"
        holder = work.claim(one.entry.type, criteria, one.id)
        if holder not in (None, one.id):
            text = f"Identifier {identifier['value']} is that of {one.entry.type}/{holder}; changes to it come by PUT."
            raise Conflict(Fault("duplicate", text, f"{one.entry.type}.identifier[{index}]"))
