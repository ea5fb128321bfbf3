"""Current and former versions, merged into one history, the newest first."""

from service.basics.errors import Fault, Invalid
from service.basics.query import Page, Span
from service.store import position
from service.store.instants import micros_of
from service.store.page import Rows
from service.store.rows import COLUMNS, stored
from service.store.session import Row

_PLACED = f"{COLUMNS}, updated_us"
_FIRST_OF_ALL = -(1 << 63)
_ALWAYS: Span = (None, None)
# a former version was current until its successor came, which is former too or the current one
_NOT_REPLACED = "".join(
    f" AND NOT EXISTS (SELECT 1 FROM {table} n WHERE n.row = former.row AND n.version = former.version + 1"
    " AND n.updated_us <= ?)"
    for table in ("former", "resource")
)
# one look per type: neither engine skips through an index by itself
_TYPES = (
    "WITH RECURSIVE known (organization, type) AS (SELECT organization, type FROM (SELECT organization, type"
    " FROM resource WHERE organization = ? ORDER BY type LIMIT 1) first UNION ALL"
    " SELECT known.organization, (SELECT min(r.type) FROM resource r WHERE r.organization = known.organization"
    " AND r.type > known.type) FROM known WHERE known.type IS NOT NULL) SELECT type FROM known WHERE type IS NOT NULL"
)


def page(rows: Rows, *, type_: str, id_: str, since: str, at: Span, count: int, after: str) -> Page:
    """Versions of one resource, of a type, or of all; Invalid for a bad instant or position.

    at: only versions that were current at some time between these."""
    bounds = _Bounds(since=since, at=at, after=after, count=count)
    if id_:
        found = bounds.versions(rows, "type = ? AND id = ?", type_, id_)
        total = None if since or at != _ALWAYS else _total(rows, type_, id_)
    else:
        types = [type_] if type_ else [row[0] for row in rows(_TYPES)]
        found = [row for one in types for row in bounds.versions(rows, "type = ?", one)]
        total = None
    found.sort(key=_place, reverse=True)
    more = len(found) > count > 0
    after = position.write(*_place(found[count - 1])) if more else ""
    return Page(matches=tuple(map(stored, found[:count])), total=total, after=after)


class _Bounds:
    """Where a page begins and how far it goes."""

    def __init__(self, *, since: str, at: Span, after: str, count: int) -> None:
        self.count = count
        self.params: list[object] = [_since(since)]
        self.where = " AND updated_us >= ?"
        self.low, high = at
        if high is not None:
            self.where += " AND updated_us <= ?"
            self.params.append(high)
        if after:
            self.where += " AND (updated_us, row, version) < (?, ?, ?)"
            self.params += position.read(after, size=3)

    def versions(self, rows: Rows, which: str, *params: object) -> list[Row]:
        found: list[Row] = []
        for table in ("resource", "former"):
            replaced = [] if table == "resource" or self.low is None else [self.low] * 2
            sql = (
                f"SELECT {_PLACED} FROM {table} WHERE organization = ? AND {which}{self.where}"
                f"{_NOT_REPLACED if replaced else ''} ORDER BY updated_us DESC, row DESC, version DESC LIMIT ?"
            )
            found += rows(sql, *params, *self.params, *replaced, self.count + 1)
        return found


def _place(row: Row) -> tuple[int, int, int]:
    return (row[8], row[7], row[2])


def _since(text: str) -> int:
    try:
        return micros_of(text) if text else _FIRST_OF_ALL
    except (ValueError, TypeError) as error:
        raise Invalid(Fault("value", "_since is an instant with a time zone, such as 2026-01-31T08:00:00Z.")) from error


def _total(rows: Rows, type_: str, id_: str) -> int:
    found = rows("SELECT version FROM resource WHERE organization = ? AND type = ? AND id = ?", type_, id_)
    return found[0][0] if found else 0
