"""Entries into identities: which resource each one makes, replaces, finds or deletes."""

from collections.abc import Collection, Sequence

from service.actions import deletion, overlaps
from service.actions.conditions import at_most_one, criteria_of
from service.actions.pending import Pending
from service.actions.ports import House, Work
from service.basics.entries import Entry
from service.basics.errors import ConditionRequired, Conflict, Fault, Gone, Invalid, Missing, NotAllowed, Stale
from service.basics.ids import new_id
from service.basics.stored import Stored
from service.fhir.types import GUARDED


def pending(entries: Sequence[Entry]) -> list[Pending]:
    """Every entry that writes, with an id of its own; none is looked up yet."""
    return [Pending(e, e.id or new_id(), e.resource) for e in entries if not e.reads]


def resolve(house: House, work: Work, waiting: Sequence[Pending]) -> None:
    """Give each entry its identity, conditional ones under claims (taken in one order, so nobody waits in a ring).

    What is deleted goes first, as R4 has it: nothing else of the transaction finds it any more."""
    overlaps.same_condition(waiting)
    for one in waiting:
        if one.entry.method == "DELETE":
            deletion.find(house, work, one)
    leaving = {one.reference for one in waiting if one.deletes}
    for one in sorted(waiting, key=lambda p: (p.entry.type, criteria_of(p.entry))):
        if one.entry.method != "DELETE" and criteria_of(one.entry):
            _conditional(house, work, one, leaving=leaving)
    for one in waiting:
        if one.entry.id and one.entry.method != "DELETE":
            _by_id(work, one)
    overlaps.same_resource(waiting)
    overlaps.found_within(waiting)


def _conditional(house: House, work: Work, one: Pending, *, leaving: Collection[str]) -> None:
    entry, criteria = one.entry, criteria_of(one.entry)
    if entry.method == "PATCH":
        _patched(one, at_most_one(house, work, entry, where=one.where, leaving=leaving))
        return
    holder = work.claim(entry.type, criteria, one.id)
    match = at_most_one(house, work, entry, where=one.where, leaving=leaving)
    if match is None:
        if holder not in (None, one.id):
            work.move_claim(entry.type, criteria, one.id)
        _no_own_id(entry, one.where)
        return
    if holder != match.id:
        work.move_claim(entry.type, criteria, match.id)
    _matched(one, match)


def _patched(one: Pending, match: Stored | None) -> None:
    if match is None:
        text = f"Nothing matches {one.entry.type}?{criteria_of(one.entry)}, so there is nothing to patch."
        raise Missing(Fault("not-found", text, one.where))
    one.id, one.before = match.id, match
    conditions_hold(one, match)


def _matched(one: Pending, match: Stored) -> None:
    if one.entry.method == "POST":
        one.found = match
        return
    given = (one.resource or {}).get("id")
    if given not in (None, match.id):
        text = f"The body's id {given} is not that of the matching resource, {match.id}."
        raise Invalid(Fault("invalid", text, one.where))
    one.id, one.before = match.id, match
    conditions_hold(one, match)


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
    current = work.get(entry.type, entry.id)
    if current is None or current.deleted:
        raise _nothing_there(one, current)
    if entry.if_match is None and entry.type in GUARDED:
        text = (
            f'Send If-Match: W/"{current.version}" if your change is based on that version of {entry.type}/{entry.id}.'
        )
        raise ConditionRequired(Fault("required", text, one.where))
    conditions_hold(one, current)
    one.before = current


def _nothing_there(one: Pending, current: Stored | None) -> Missing | Gone | NotAllowed:
    entry, name = one.entry, f"{one.entry.type}/{one.entry.id}"
    if entry.method == "PUT":
        text = f"There is no {name}. The server gives ids: POST it, or PUT {entry.type}?identifier=..."
        return NotAllowed(Fault("not-supported", text, one.where))
    if current is None:
        return Missing(Fault("not-found", f"There is no {name}.", one.where))
    return Gone(Fault("deleted", f"{name} was deleted.", one.where))


def conditions_hold(one: Pending, current: Stored) -> None:
    """Raise Stale unless ifMatch names the current version and ifNoneMatch does not."""
    entry, name = one.entry, f"{one.entry.type}/{current.id}"
    if entry.if_match is not None and entry.if_match != current.version:
        text = f"{name} is at version {current.version}, not {entry.if_match}: read it again."
        raise Stale(Fault("conflict", text, one.where))
    known = {tag.strip().removeprefix("W/").strip('"') for tag in entry.if_none_match.split(",")}
    if known & {"*", str(current.version)}:
        raise Stale(Fault("conflict", f"{name} is there, at version {current.version}.", one.where))


def unique(work: Work, one: Pending, kinds: frozenset[tuple[str, str]], identifier_types: str) -> None:
    """Claim the identifiers of kinds that belong to one resource only; raises Conflict when another one bears it."""
    for index, identifier in enumerate(one.identifiers):
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
