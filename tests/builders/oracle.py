"""A search worked out by hand over records in memory: what the store's answers are compared with."""

from collections.abc import Iterable

from service.basics.query import AnyPeriod, Criterion, Exact, Ids, Period, Query, Starts, Updated
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
        case Exact(keys=keys, negated=negated):
            return any(m.key in keys for m in record.keys.marks) != negated
        case Period():
            return _in_period(record, criterion)
        case AnyPeriod(periods=periods):
            return any(_in_period(record, p) for p in periods)
        case Starts(key=key, texts=texts, exact=exact):
            own = [t.text for t in record.keys.texts if t.key == key]
            return any(o == t if exact else o.startswith(t) for o in own for t in texts)
        case Ids(ids=ids):
            return record.new.id in ids
        case Updated(low=low, high=high):
            return _between(micros_of(record.new.updated), low, high)


def _in_period(record: Record, period: Period) -> bool:
    return any(
        m.key == period.key
        and _between(m.low, period.low_from, period.low_to)
        and _between(m.high, period.high_from, period.high_to)
        for m in record.keys.marks
    )


def _between(value: int, low: int | None, high: int | None) -> bool:
    return (low is None or value >= low) and (high is None or value <= high)
