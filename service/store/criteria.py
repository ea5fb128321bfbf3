"""One criterion of a search -> a condition on a row of `resource r`, and a list of the rows that may meet it."""

from typing import assert_never

from service.basics.query import (
    Absent,
    AnyPeriod,
    Backward,
    Both,
    Criterion,
    Either,
    Exact,
    Forward,
    Ids,
    Not,
    Period,
    Reads,
    Starts,
    Updated,
)
from service.store.sql import Sql, all_of, any_of, bounds, member

_LAST = "\U0010ffff"
_MARKS = "SELECT row FROM mark WHERE "
_TEXTS = "SELECT row FROM text_mark WHERE "


def check(criterion: Criterion) -> Sql:
    """The condition; what only the text of a resource tells is left to be judged there."""
    match criterion:
        case Not(of=of):
            inner = check(of)
            return Sql(f"NOT ({inner.text})", inner.params)
        case Either(of=several):
            return any_of(map(check, several))
        case Both(of=several):
            return all_of(map(check, several))
        case Ids(ids=ids):
            return member("r.id", ids)
        case Updated(low=low, high=high):
            return bounds("r.updated_us", low, high)
        case Absent(mask=mask):
            return Sql("(r.present & ?) = 0", (mask,))
        case _:
            return _marked(criterion)


def _marked(criterion: Exact | Period | AnyPeriod | Starts | Reads | Forward | Backward) -> Sql:
    match criterion:
        case Exact(keys=keys):
            return _exists("mark", member("m.key", keys))
        case Period():
            return _exists("mark", _period(criterion))
        case AnyPeriod(periods=periods):
            return _exists("mark", any_of(map(_period, periods)))
        case Starts():
            return _exists("text_mark", any_of(_texts(criterion)))
        case Reads():
            return Sql("1 = 1")
        case Forward() | Backward():
            return Sql("1 = 0")  # resolved before
        case _:
            assert_never(criterion)


def _exists(table: str, inner: Sql) -> Sql:
    # OFFSET keeps PostgreSQL from joining: prepared for any key, that plan reads all there is under a frequent one
    found = f"SELECT 1 FROM {table} m WHERE m.row = r.row AND ({inner.text}) LIMIT 1 OFFSET 0"
    return Sql(f"EXISTS ({found})", inner.params)


def candidates(criterion: Criterion) -> Sql | None:
    """The rows that may meet a criterion, some of them twice; None when an index can't list them."""
    match criterion:
        case Exact(keys=keys):
            return _listing(_MARKS, [member("key", keys)])
        case Period():
            return _listing(_MARKS, [_period(criterion)])
        case AnyPeriod(periods=periods):
            return _listing(_MARKS, [_period(one) for one in periods])
        case Starts(within=False):
            return _listing(_TEXTS, _texts(criterion))
        case Either(of=several):
            return _united([candidates(one) for one in several])
        case Both(of=several):
            return next((found for one in several if (found := candidates(one)) is not None), None)
        case _:
            return None


def complete(criterion: Criterion) -> bool:
    """Whether every candidate meets the criterion."""
    if isinstance(criterion, Either):
        return all(complete(one) for one in criterion.of)
    return not isinstance(criterion, Both)


def _listing(head: str, pieces: list[Sql]) -> Sql:
    inner = any_of(pieces)
    return Sql(f"{head}({inner.text})", inner.params)


def _united(listings: list[Sql | None]) -> Sql | None:
    kept = [one for one in listings if one is not None]
    if len(kept) != len(listings) or not kept:
        return None
    return Sql(" UNION ALL ".join(one.text for one in kept), tuple(value for one in kept for value in one.params))


def _period(period: Period) -> Sql:
    parts = (bounds("low", period.low_from, period.low_to), bounds("high", period.high_from, period.high_to))
    return all_of([Sql("key = ?", (period.key,)), *(part for part in parts if part.params)])


def _texts(criterion: Starts) -> list[Sql]:
    key = criterion.key
    if criterion.exact:
        return [Sql("key = ? AND text = ?", (key, text)) for text in criterion.texts]
    if criterion.within:
        return [Sql("key = ? AND text LIKE ? ESCAPE '!'", (key, f"%{_plain(text)}%")) for text in criterion.texts]
    return [Sql("key = ? AND text >= ? AND text < ?", (key, text, text + _LAST)) for text in criterion.texts]


def _plain(text: str) -> str:
    """The text with LIKE's own signs taken as they stand."""
    return text.replace("!", "!!").replace("%", "!%").replace("_", "!_")
