"""Invoice numbers, in any order, into their series: from where to where, how many, what is missing or there twice."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

Run = tuple[int, int]  # first and last of numbers without one between them missing


@dataclass(frozen=True, slots=True)
class Series:
    """The numbers of one year. drawn: how many the store has given out; numbers begin with 1.

    gaps: what no invoice bears, as runs; twice: what several bear; beyond: what was never given out."""

    year: int
    count: int
    first: int
    last: int
    drawn: int
    gaps: tuple[Run, ...] = ()
    twice: tuple[int, ...] = ()
    beyond: tuple[int, ...] = ()

    @property
    def sound(self) -> bool:
        """Whether each number that was given out stands on one invoice."""
        return not (self.gaps or self.twice or self.beyond)


def series(numbers: Iterable[tuple[int, int]], drawn: Mapping[int, int]) -> list[Series]:
    """The series of each year, the earliest first. numbers: (year, number) of each invoice; drawn: by year."""
    found: dict[int, set[int]] = {year: set() for year in drawn}
    twice: dict[int, set[int]] = {}
    for year, number in numbers:
        seen = found.setdefault(year, set())
        if number in seen:
            twice.setdefault(year, set()).add(number)
        seen.add(number)
    return [
        _series(year, seen, twice.get(year, set()), drawn.get(year, 0))
        for year, seen in sorted(found.items())
        if seen or drawn.get(year)
    ]


def _series(year: int, seen: set[int], twice: set[int], drawn: int) -> Series:
    ordered = sorted(seen)
    return Series(
        year=year,
        count=len(ordered),
        first=ordered[0] if ordered else 0,
        last=ordered[-1] if ordered else 0,
        drawn=drawn,
        gaps=tuple(_gaps(ordered, drawn)),
        twice=tuple(sorted(twice)),
        beyond=tuple(number for number in ordered if number > drawn or number < 1),
    )


def _gaps(ordered: list[int], drawn: int) -> Iterable[Run]:
    expected = 1
    for number in ordered:
        if number > expected:
            yield expected, number - 1
        expected = max(expected, number + 1)
    if expected <= drawn:
        yield expected, drawn
