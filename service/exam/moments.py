"""Two times of look, as FHIR wrote them, into which came first."""

from datetime import datetime


def compare(one: str, other: str) -> int | None:
    """-1, 0 or 1 as `one` lies before, at or after `other`; None when either is no instant with a zone."""
    a, b = instant(one), instant(other)
    if a is None or b is None:
        return None
    return (a > b) - (a < b)


def instant(text: str) -> datetime | None:
    """The instant of a FHIR dateTime that has time and zone; None for anything less."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo is not None else None


def earliest(times: list[str]) -> str:
    """The earliest of the times that are instants; "" when there is none."""
    known = [(moment, text) for text in times if (moment := instant(text)) is not None]
    return min(known)[1] if known else ""


def latest(times: list[str]) -> str:
    """The latest of the times that are instants; of others the last in the alphabet, "" when there is none."""
    known = [(moment, text) for text in times if (moment := instant(text)) is not None]
    return max(known)[1] if known else max(times, default="")
