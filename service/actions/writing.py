"""Resources with their new versions into the open transaction: the one way a resource is stored."""

from collections.abc import Iterable
from typing import Any

from service.actions import notify
from service.actions.ports import Work
from service.basics.stored import Record, Stored
from service.fhir import exact, search

Json = dict[str, Any]


def write(
    work: Work, new: Iterable[Json], changed: Iterable[tuple[Json, Stored]] = (), *, method: str = "PUT"
) -> list[Stored]:
    """Store new resources (they bear their ids) as version 1, and changed ones as the successor of what they replace.

    Returns the stored versions in the order given, new ones first. Raises Conflict when a replaced version is no longer
    the current one."""
    now = exact.instant(work.now)
    records = [_first(work, resource, now=now) for resource in new]
    records += [_next(work, resource, before, now=now, method=method) for resource, before in changed]
    work.put(records)
    notify.note(work, records)
    return [record.new for record in records]


def rewrite(work: Work, changed: Iterable[Json]) -> list[Stored]:
    """Store the next version of resources that exist, looking up what they replace; unknown ones are stored as new."""
    resources = list(changed)
    before = work.get_many((r["resourceType"], r["id"]) for r in resources)
    new = [r for r in resources if (r["resourceType"], r["id"]) not in before]
    old = [(r, before[r["resourceType"], r["id"]]) for r in resources if (r["resourceType"], r["id"]) in before]
    return write(work, new, old)


def decoded(stored: Stored) -> Json:
    """The resource of a stored version."""
    found: Json = exact.trusted(stored.body)
    return found


def _first(work: Work, resource: Json, *, now: str) -> Record:
    new = _stored(resource, 1, now=now, method="POST")
    return Record(new, search.keys(work.organization, resource))


def _next(work: Work, resource: Json, before: Stored, *, now: str, method: str) -> Record:
    new = _stored(resource, before.version + 1, now=now, method=method)
    old, keys = search.changed(work.organization, before.body, new.body)
    return Record(new, keys, before, old)


def _stored(resource: Json, version: int, *, now: str, method: str) -> Stored:
    meta = {**resource.get("meta", {}), "versionId": str(version), "lastUpdated": now}
    resource["meta"] = meta
    first = {"resourceType": resource["resourceType"], "id": resource["id"], "meta": meta}
    return Stored(first["resourceType"], first["id"], version, now, exact.encode(first | resource), method=method)
