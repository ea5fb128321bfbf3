"""Repeated readings of one measurement into the mean that stands for them; a reading that is remarked on stays."""

from collections.abc import Iterable, Mapping

from service.exam.derived import MADE
from service.exam.evidence import Evidence
from service.exam.report_phrases import say
from service.exam.survey import Entry

MEAN = "MEAN"
USUAL = 3  # readings; common practice, no source
Pair = tuple[Entry, Evidence | None]


def folded(pairs: Iterable[Pair]) -> list[Pair]:
    """The entries with what they say, without the readings that a mean stands for: these stay Observations."""
    given = list(pairs)
    averaged = {entry.item for entry, _ in given if is_mean(entry)}
    return [(e, one) for e, one in given if e.item not in averaged or is_mean(e) or (one and one.sighting.differs)]


def is_mean(entry: Entry) -> bool:
    """Whether an entry is the mean of repeated readings."""
    return entry.act.startswith(f"{MADE}{MEAN}:")


def mean_of(seen: Evidence | None, phrases: Mapping[str, str]) -> str:
    """Of how many readings it is the mean, and that they are few."""
    number = seen.sighting.readings if seen else 0
    if not number:
        return say(phrases, "mean")
    return say(phrases, "mean-of-few" if number < USUAL else "mean-of", number=str(number))
