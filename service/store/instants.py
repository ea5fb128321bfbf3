"""Instants as text, turned into microseconds since the epoch and back."""

from datetime import UTC, datetime, timedelta
from functools import lru_cache

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


def micros(moment: datetime) -> int:
    """Microseconds since the epoch of an aware datetime."""
    return (moment - _EPOCH) // _MICROSECOND


def moment(us: int) -> datetime:
    """The aware datetime (UTC) of microseconds since the epoch."""
    return _EPOCH + timedelta(microseconds=us)


@lru_cache(maxsize=1024)
def micros_of(instant: str) -> int:
    """Microseconds since the epoch of an instant with its time zone; ValueError when it is none."""
    return micros(datetime.fromisoformat(instant))


def instant(when: datetime) -> str:
    """UTC, milliseconds, Z."""
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.") + f"{when.microsecond // 1000:03d}Z"
