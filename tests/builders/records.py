"""Records for store tests: small invented resources with search keys made of plain numbers."""

import json
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime

from service.basics.ids import new_id
from service.basics.stored import Keys, Mark, Record, Stored, TextMark

AT = datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC)


def version(
    type_: str = "Observation",
    id_: str = "",
    *,
    number: int = 1,
    updated: str = "2026-03-04T05:06:07.000Z",
    method: str = "POST",
    **content: object,
) -> Stored:
    """One version of a resource as the server would keep it."""
    name = id_ or new_id()
    meta = {"versionId": str(number), "lastUpdated": updated}
    body = json.dumps({"resourceType": type_, "id": name, "meta": meta, **content}).encode()
    return Stored(type=type_, id=name, version=number, updated=updated, body=body, method=method)


def keys(*marks: int | tuple[int, int, int], texts: Iterable[tuple[int, str]] = (), present: int = 0) -> Keys:
    """Search keys: a number is an exact mark, a triple is a period (key, low, high)."""
    made = (Mark(m, 0, 0) if isinstance(m, int) else Mark(*m) for m in marks)
    return Keys(marks=frozenset(made), texts=frozenset(TextMark(key, text) for key, text in texts), present=present)


def new(stored: Stored, found_by: Keys | None = None) -> Record:
    """The first version of a resource."""
    return Record(new=stored, keys=found_by or keys())


def changed(record: Record, found_by: Keys | None = None, **content: object) -> Record:
    """The next version of what a record wrote."""
    old = record.new
    after = version(old.type, old.id, number=old.version + 1, method="PUT", updated=old.updated, **content)
    return Record(new=after, keys=found_by or keys(), before=old, old=record.keys)


def removed(record: Record) -> Record:
    """The deletion of what a record wrote."""
    old = record.new
    gone = replace(old, version=old.version + 1, deleted=True, method="DELETE", body=b"")
    return Record(new=gone, keys=keys(), before=old, old=record.keys)
