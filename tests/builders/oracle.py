"""A search worked out by hand over records in memory: what the store's answers are compared with."""

from collections.abc import Iterable
from functools import cmp_to_key

from service.basics.query import (
    Absent,
    AnyPeriod,
    Both,
    Criterion,
    Either,
    Exact,
    Ids,
    Not,
    Period,
    Query,
    Reads,
    Sort,
    Starts,
    Updated,
)
from service.basics.stored import Record, Stored
from service.store.instants import micros_of


def matches(records: Iterable[Record], query: Query) -> list[Stored]:
    """Everything that fits, without regard to order and pages; records are the current ones."""
    return [r.new for r in records if r.new.type == query.type and not r.new.deleted and fits_all(r, query.criteria)]


def fits_all(record: Record, criteria: Iterable[Criterion]) -> bool:
    """All criteria hold."""
    return all(_fits(record, c) for c in criteria)


def _fits(record: Record, criterion: Criterion) -> bool:
    match criterion:
        case Not(of=of):
            return not _fits(record, of)
        case Either(of=several):
            return any(_fits(record, c) for c in several)
        case Both(of=several):
            return fits_all(record, several)
        case Exact(keys=keys):
            return any(m.key in keys for m in record.keys.marks)
        case Period():
            return _in_period(record, criterion)
        case AnyPeriod(periods=periods):
            return any(_in_period(record, p) for p in periods)
        case Starts(key=key, texts=texts):
            return any(_says(o.text, t, criterion) for o in record.keys.texts if o.key == key for t in texts)
        case Ids(ids=ids):
            return record.new.id in ids
        case Updated(low=low, high=high):
            return _between(micros_of(record.new.updated), low, high)
        case Absent(mask=mask):
            return record.keys.present & mask == 0
        case Reads(fits=fits):
            return fits(record.new.body)
        case _:
            raise AssertionError(criterion)


def _says(own: str, asked: str, criterion: Starts) -> bool:
    if criterion.exact:
        return own == asked
    return asked in own if criterion.within else own[: len(asked)] == asked


def _in_period(record: Record, period: Period) -> bool:
    return any(
        m.key == period.key
        and _between(m.low, period.low_from, period.low_to)
        and _between(m.high, period.high_from, period.high_to)
        for m in record.keys.marks
    )


def _between(value: int, low: int | None, high: int | None) -> bool:
    return (low is None or value >= low) and (high is None or value <= high)


def in_order(records: list[tuple[int, Record]], sort: tuple[Sort, ...]) -> list[str]:
    """The ids of (row, record) pairs in the order asked for: without a value last, equal ones by their rows."""

    def compare(one: tuple[int, Record], other: tuple[int, Record]) -> int:
        for level in sort:
            first, second = _value(one[1], level), _value(other[1], level)
            if first == second:
                continue
            if first is None or second is None:
                return 1 if first is None else -1
            return (-1 if first < second else 1) * (-1 if level.descending else 1)  # type: ignore[operator]
        return (one[0] - other[0]) * (-1 if sort[0].descending else 1)

    return [record.new.id for _, record in sorted(records, key=cmp_to_key(compare))]


def _value(record: Record, level: Sort) -> int | str | None:
    pick = max if level.descending else min
    match level.by:
        case "updated":
            return micros_of(record.new.updated)
        case "id":
            return record.new.id
        case "low":
            return pick((m.low for m in record.keys.marks if m.key == level.key), default=None)
        case "text":
            return pick((t.text for t in record.keys.texts if t.key == level.key), default=None)
        case _:
            assert level.words is not None
            return pick(level.words(record.new.body), default=None)
