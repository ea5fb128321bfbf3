"""A query and the keys of one resource into whether it fits, as the store would say once it holds it."""

from service.basics.query import AnyPeriod, Criterion, Exact, Ids, Period, Query, Starts
from service.basics.stored import Keys, Mark


def fits(query: Query, keys: Keys, id_: str) -> bool:
    """Whether a resource of the query's type with these keys and this id fits every criterion."""
    return all(_fits(criterion, keys, id_) for criterion in query.criteria)


def _fits(criterion: Criterion, keys: Keys, id_: str) -> bool:
    match criterion:
        case Exact(keys=wanted, negated=negated):
            return any(mark.key in wanted for mark in keys.marks) is not negated
        case Ids(ids=ids):
            return id_ in ids
        case Period():
            return any(_within(criterion, mark) for mark in keys.marks)
        case AnyPeriod(periods=periods):
            return any(_within(period, mark) for period in periods for mark in keys.marks)
        case Starts():
            return any(_starts(criterion, t.text) for t in keys.texts if t.key == criterion.key)
        case _:
            return False


def _within(period: Period, mark: Mark) -> bool:
    return (
        mark.key == period.key
        and _between(mark.low, period.low_from, period.low_to)
        and _between(mark.high, period.high_from, period.high_to)
    )


def _between(value: int, low: int | None, high: int | None) -> bool:
    return (low is None or low <= value) and (high is None or value <= high)


def _starts(criterion: Starts, text: str) -> bool:
    return text in criterion.texts if criterion.exact else text.startswith(criterion.texts)
