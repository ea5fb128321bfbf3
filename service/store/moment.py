"""What a first page saw -> text for its link, and conditions on rows: what was there then, and what came since."""

import re
from dataclasses import dataclass

from service.store.page import Look
from service.store.position import Value, not_ours
from service.store.sql import Sql, all_of, any_of, bounds

OVERLAP = 120_000_000
"""Microseconds that a transaction may be older than what it overlaps: how long one runs, and how far clocks differ."""

_FORM = re.compile(r"[0-9a-f]{1,15}(\.[0-9a-f]{0,15}){1,2000}")
_WRAP = 1 << 32  # PostgreSQL's rows bear the lower half of a transaction's number
_NEWEST = "SELECT max(updated_us) FROM resource WHERE organization = ? AND type = ?"
_SQLITE = "SELECT (SELECT coalesce(max(row), 0) FROM resource), (SELECT coalesce(max(rowid), 0) FROM former)"
_POSTGRES = "SELECT pg_current_snapshot()::text, coalesce(pg_current_xact_id_if_assigned()::text, '')"


@dataclass(frozen=True, slots=True)
class Moment:
    """as_of: microseconds, nothing newer was seen. Clocks alone do not tell: a transaction that was under way at the
    first page is committed later, but its versions bear an earlier time.

    numbers: SQLite has one writer, so the last row and the last replaced version say all. PostgreSQL: the first
    transaction that had not begun, the reader's own (None when it wrote nothing), and those that were under way."""

    as_of: int
    numbers: tuple[int | None, ...]
    postgres: bool

    def pack(self) -> tuple[Value, ...]:
        """The moment as two values of a page link."""
        return self.as_of, ".".join("" if n is None else format(n, "x") for n in self.numbers)

    def there(self) -> Sql:
        """The current version of `resource r` is the one of then."""
        newest = bounds("r.updated_us", None, self.as_of)
        if self.postgres:
            return all_of([newest, any_of([Sql("r.updated_us <= ?", (self._settled,)), self._saw("r")])])
        last, replaced = self.numbers
        kept = "r.version = 1 OR NOT EXISTS (SELECT 1 FROM former n WHERE n.row = r.row AND n.rowid > ?)"
        return all_of([newest, Sql("r.row <= ?", (last,)), Sql(kept, (replaced,))])

    def replaced(self, columns: str) -> Sql:
        """The versions `f` of one organisation's type that were current then and are not now; the type comes last."""
        if not self.postgres:
            last, replaced = self.numbers
            # the plus signs keep SQLite from going through all that was ever replaced of the type
            return Sql(
                f"SELECT {columns} FROM former f WHERE f.rowid > ? AND f.row <= ? AND f.version ="
                " (SELECT min(g.version) FROM former g WHERE g.row = f.row AND g.rowid > ?)"
                " AND +f.organization = ? AND +f.type = ?",
                (replaced, last, replaced),
            )
        gone, later, settled = self._saw("r"), self._saw("g"), self._settled
        return Sql(
            f"SELECT {columns} FROM resource r JOIN former f ON f.row = r.row WHERE r.updated_us > ?"
            f" AND (r.updated_us > ? OR NOT ({gone.text})) AND f.updated_us <= ? AND f.version ="
            f" (SELECT min(g.version) FROM former g WHERE g.row = r.row AND NOT ({later.text}) AND g.version >="
            " (SELECT coalesce(max(h.version), 0) FROM former h WHERE h.row = r.row AND h.updated_us <= ?))"
            " AND r.organization = ? AND r.type = ?",
            (settled, self.as_of, *gone.params, self.as_of, *later.params, settled),
        )

    @property
    def _settled(self) -> int:
        """What is older was decided before the first page."""
        return self.as_of - OVERLAP

    def _saw(self, row: str) -> Sql:
        """The transaction that wrote this row had been committed: a former version is written by what replaces it."""
        first, own, *under_way = self.numbers
        wrote = f"{row}.xmin::text::bigint"
        begun = Sql(f"((? - {wrote}) & {_WRAP - 1}) < {_WRAP // 2}", (((first or 0) - 1) % _WRAP,))
        listed = "{" + ",".join(str((n or 0) % _WRAP) for n in under_way) + "}"
        seen = all_of([begun, Sql(f"NOT ({wrote} = ANY(?::bigint[]))", (listed,))])
        return seen if own is None else any_of([seen, Sql(f"{wrote} = ?", (own % _WRAP,))])


def now(look: Look, types: list[str]) -> Moment:
    """What a look sees of these types."""
    as_of = max(look.rows(_NEWEST, type_)[0][0] or 0 for type_ in types)
    if not look.postgres:
        return Moment(as_of, look.marks(_SQLITE)[0], postgres=False)
    snapshot, own = look.marks(_POSTGRES)[0]
    _, first, under_way = snapshot.split(":")
    others = [int(n) for n in under_way.split(",") if n and n != own]
    return Moment(as_of, (int(first), int(own) if own else None, *others), postgres=True)


def unpack(as_of: Value, text: Value, *, postgres: bool) -> Moment:
    """The moment of a page link again; Invalid when it is not one of ours."""
    if not isinstance(as_of, int) or not isinstance(text, str) or not _FORM.fullmatch(text):
        raise not_ours()
    numbers = tuple(int(n, 16) if n else None for n in text.split("."))
    if not postgres and (len(numbers) != 2 or None in numbers):
        raise not_ours()
    return Moment(as_of, numbers, postgres=postgres)
