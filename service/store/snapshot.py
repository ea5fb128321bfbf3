"""Versions that were replaced since a first page -> what they were then, so that each match comes exactly once."""

from dataclasses import dataclass

from service.basics.errors import Fault, Gone, Invalid
from service.basics.judging import Version, fits_all
from service.basics.query import Query
from service.basics.stored import Stored
from service.store import ordering
from service.store.moment import Moment
from service.store.ordering import Place
from service.store.page import Look
from service.store.rows import COLUMNS, stored

MOST = 2000  # changed resources that a page link outlives
_WIDTH = len(COLUMNS.split(", "))
_F = ", ".join(f"f.{name}" for name in COLUMNS.split(", "))


@dataclass(frozen=True, slots=True)
class Item:
    """One match: where it stands, and the version when it was read already."""

    place: Place
    found: Stored | None = None


def replaced(look: Look, query: Query, *, then: Moment) -> list[Item]:
    """What matched then and has another version now; Gone when that is too much to tell."""
    if query.index is None:
        return []
    versions = then.replaced(f"{_F}, f.updated_us")
    found = look.rows(f"{versions.text} LIMIT ?", *versions.params, query.type, MOST + 1)
    if len(found) > MOST:
        raise Gone(Fault("expired", "Too much has changed since the first page: search again."))
    items = []
    for row in found:
        old = stored(row)
        if old.deleted:
            continue
        version = Version(old.id, row[_WIDTH], query.index(old.body), old.body)
        if fits_all(version, query.criteria):
            items.append(Item(ordering.place(query.sort, version, old.row), old))
    return items


def too_costly(most: int) -> Invalid:
    """The search would read more than it may."""
    return Invalid(Fault("too-costly", f"This search would have to read over {most} resources: narrow it down."))
