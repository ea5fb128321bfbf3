"""All that a request wants written, in one transaction: checked, identified, linked, understood, stored."""

from collections.abc import Iterable, Sequence
from typing import Any

from service.actions import admission, guards, identities, references, repeats
from service.actions.pending import Pending
from service.actions.ports import Caller, House, Work
from service.actions.writing import write
from service.basics.entries import Entry, Result
from service.basics.errors import Fault, Invalid, Refusal
from service.basics.ids import new_id
from service.basics.stored import ENTITIES, Stored, Trace
from service.fhir import exact, uris, validate

Json = dict[str, Any]
_INTERACTIONS = {
    "": ("transaction", "E"),
    "DELETE": ("delete", "D"),
    "GET": ("read", "R"),
    "PATCH": ("patch", "U"),
    "POST": ("create", "C"),
    "PUT": ("update", "U"),
}
"""The method of what is an interaction by itself ("" for a transaction) -> R4's code and action for the audit."""


def transact(
    house: House, caller: Caller, entries: Sequence[Entry], *, bundle_type: str = "transaction"
) -> list[Result]:
    """Apply the entries: all or nothing as a transaction, each on its own as a batch.

    Raises the Refusal that names all faults; a batch keeps each entry's refusal in its result."""
    if bundle_type == "batch":
        return [_alone(house, caller, entry) for entry in entries]
    single = len(entries) == 1 and not entries[0].place
    return _together(house, caller, entries, method=entries[0].method if single else "")


def _together(house: House, caller: Caller, entries: Sequence[Entry], *, method: str) -> list[Result]:
    """One transaction. method: of the one entry when it is an interaction by itself, else ""."""
    ours = checked(entries, practice=caller.kind != "records")
    print_ = repeats.of_entries(entries)
    with house.books.begin(caller.organization) as work:
        waiting = identities.pending(entries)
        if caller.kind != "records":
            again = repeats.earlier(work, waiting, print_)
            if again is not None:
                _trace(work, caller, again, method=method)
                return again
        results = _apply(house, work, caller, waiting, ours=ours)
        if caller.kind != "records":
            repeats.remember(work, waiting, print_, results)
        _trace(work, caller, results, method=method)
        return results


def checked(entries: Sequence[Entry], *, practice: bool) -> list[Fault]:
    """Raise Invalid with every fault of every resource; nothing was opened yet.

    Returns what breaks only our own rules for practices, to be told together with what is wrong with the orders."""
    faults: list[Fault] = []
    ours: list[Fault] = []
    for entry in entries:
        if entry.resource is None:
            continue
        found = _faults(entry, entry.resource)
        faults += _placed(entry, found)
        if practice and not found:
            ours += _placed(entry, validate.profile(entry.resource))
    if faults:
        raise Invalid(*faults, *ours)
    return ours


def _placed(entry: Entry, faults: Iterable[Fault]) -> list[Fault]:
    return [f.inside(f"{entry.place}.resource") if entry.place else f for f in faults]


def _faults(entry: Entry, resource: Json) -> list[Fault]:
    given = resource.get("resourceType")
    if given != entry.type:
        return [Fault("invalid", f"The body is a {given}, but the address says {entry.type}.", "resourceType")]
    if entry.method == "PUT" and entry.id and resource.get("id") != entry.id:
        text = f"The body's id must be {entry.id}, as in the address."
        return [Fault("invalid", text, f"{entry.type}.id")]
    tags = resource.get("meta", {}).get("tag", []) if isinstance(resource.get("meta"), dict) else []
    if any(isinstance(t, dict) and t.get("code") == "SUBSETTED" and t.get("system") == uris.SUBSETTED for t in tags):
        return [Fault("business-rule", "A shortened resource (SUBSETTED) cannot be stored.", f"{entry.type}.meta.tag")]
    return validate.check(resource)


def _alone(house: House, caller: Caller, entry: Entry) -> Result:
    try:
        return _together(house, caller, [entry], method=entry.method)[0]
    except Refusal as refusal:
        return Result(0, refusal=refusal)


def _apply(house: House, work: Work, caller: Caller, waiting: list[Pending], *, ours: Sequence[Fault]) -> list[Result]:
    identities.resolve(house, work, waiting)
    references.rewrite(house, work, waiting)
    for one in waiting:
        if one.resource is not None and one.writes:
            one.resource["id"] = one.id
    derived: list[Json] = []
    if caller.kind != "records":
        for one in waiting:
            if one.writes:
                kinds = house.catalogues.current.unique_identifiers
                with _Placed(one):
                    identities.unique(work, one, kinds, uris.IDENTIFIER_TYPE)
        guards.check(work, waiting)
        derived = admission.admit(house, work, caller, waiting, ours=ours)
    return _stored(work, waiting, derived)


class _Placed:
    """Refusals from inside are seen from the entry's place in its Bundle."""

    def __init__(self, one: Pending) -> None:
        self.place = f"{one.entry.place}.resource" if one.entry.place else ""

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, refusal: object, trace: object) -> None:
        if self.place and isinstance(refusal, Refusal):
            raise refusal.inside(self.place) from None


def _stored(work: Work, waiting: Sequence[Pending], derived: Iterable[Json]) -> list[Result]:
    new = [p.resource for p in waiting if p.writes and p.before is None and p.resource is not None]
    changed = [(p.resource, p.before) for p in waiting if p.writes and p.before is not None and p.resource is not None]
    extra = list(derived)
    before = work.get_many((r["resourceType"], r["id"]) for r in extra)
    made = [r for r in extra if (r["resourceType"], r["id"]) not in before]
    moved = [(r, before[r["resourceType"], r["id"]]) for r in extra if (r["resourceType"], r["id"]) in before]
    stored = {(s.type, s.id): s for s in write(work, new + made, changed + moved)}
    return [_result(p, stored) for p in waiting]


def _result(one: Pending, stored: dict[tuple[str, str], Stored]) -> Result:
    if one.found is not None:
        return Result(200, one.found)
    return Result(200 if one.before else 201, stored[one.entry.type, one.id])


def _trace(work: Work, caller: Caller, results: Sequence[Result], *, method: str) -> None:
    first = results[0].stored if method else None
    interaction, action = _INTERACTIONS[method]
    work.trace(
        Trace(
            id=new_id(),
            recorded=exact.instant(work.now),
            interaction=interaction,
            action=action,
            outcome="0",
            client=caller.label,
            request=caller.request,
            type=first.type if first else "",
            id_of=first.id if first else "",
            entities=tuple(f"{r.stored.type}/{r.stored.id}" for r in results if r.stored)[:ENTITIES],
        )
    )
