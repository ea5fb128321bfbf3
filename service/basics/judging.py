"""One version with its keys, held against the criteria of a search in memory: what the store says with a statement."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
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
from service.basics.stored import Keys


@dataclass(frozen=True, slots=True)
class Version:
    """What is judged: the id, when it was updated (microseconds), its keys, and its body for what no index tells."""

    id: str
    updated: int
    keys: Keys
    body: bytes = b""


def fits_all(version: Version, criteria: Iterable[Criterion]) -> bool:
    """All criteria hold; what leads through other resources never does here, and is resolved by the store before."""
    return all(fits(version, criterion) for criterion in criteria)


def fits(version: Version, criterion: Criterion) -> bool:
    """The criterion holds."""
    match criterion:
        case Not(of=of):
            return not fits(version, of)
        case Either(of=several):
            return any(fits(version, one) for one in several)
        case Both(of=several):
            return fits_all(version, several)
        case Ids(ids=ids):
            return version.id in ids
        case Updated(low=low, high=high):
            return _between(version.updated, low, high)
        case Reads(fits=read):
            return read(version.body)
        case Forward() | Backward():
            return False
        case _:
            return _keyed(version.keys, criterion)


def _keyed(keys: Keys, criterion: Exact | Period | AnyPeriod | Starts | Absent) -> bool:
    match criterion:
        case Exact(keys=wanted):
            return any(mark.key in wanted for mark in keys.marks)
        case Period():
            return _in_period(keys, criterion)
        case AnyPeriod(periods=periods):
            return any(_in_period(keys, period) for period in periods)
        case Starts():
            return _has_text(keys, criterion)
        case Absent(mask=mask):
            return not keys.present & mask
        case _:
            assert_never(criterion)


def _has_text(keys: Keys, criterion: Starts) -> bool:
    own = [text.text for text in keys.texts if text.key == criterion.key]
    if criterion.exact:
        return any(text in criterion.texts for text in own)
    if criterion.within:
        return any(one in text for text in own for one in criterion.texts)
    return any(text.startswith(criterion.texts) for text in own)


def _in_period(keys: Keys, period: Period) -> bool:
    return any(
        mark.key == period.key
        and _between(mark.low, period.low_from, period.low_to)
        and _between(mark.high, period.high_from, period.high_to)
        for mark in keys.marks
    )


def _between(value: int, low: int | None, high: int | None) -> bool:
    return (low is None or value >= low) and (high is None or value <= high)


def reads(criterion: Criterion) -> bool:
    """Whether a criterion needs the body, for no index tells."""
    match criterion:
        case Reads():
            return True
        case Not(of=of):
            return reads(of)
        case Either(of=several) | Both(of=several):
            return any(map(reads, several))
        case _:
            return False


def passed(criterion: Criterion) -> Iterator[str]:
    """The types that a criterion leads through."""
    match criterion:
        case Not(of=of):
            yield from passed(of)
        case Either(of=several) | Both(of=several):
            for one in several:
                yield from passed(one)
        case Forward(type=type_, criteria=inner) | Backward(type=type_, criteria=inner):
            yield type_
            for one in inner:
                yield from passed(one)
        case _:
            return
