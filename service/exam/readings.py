"""The readings of one exam by structure and measure: which stands for several, and which belong together."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from service.exam import moments

Place = tuple[str, str]  # structure, measure


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of one measure of one structure, in the measure's own unit.

    source: what it rests on; side: of several nodes, the one that it says; spot: a place in the structure other than
    the usual one; part: the component that holds it, -1 for none; made: computed here, not sent."""

    structure: str
    measure: str
    value: Fraction
    source: str
    at: str = ""
    side: str = ""
    spot: str = ""
    part: int = -1
    made: bool = False

    @property
    def place(self) -> Place:
        """Where it belongs."""
        return self.structure, self.measure


@dataclass(frozen=True, slots=True)
class Taken:
    """A value that goes into a formula, and the readings that it comes from; none for what is no measurement."""

    value: Fraction
    readings: tuple[Reading, ...] = ()


class Pool:
    """All readings. repeated: whether readings of a measure are averaged, as those of Doppler are."""

    def __init__(self, readings: Iterable[Reading], *, repeated: Callable[[str, str], bool]) -> None:
        self._by: dict[Place, list[Reading]] = {}
        self._repeated = repeated
        for one in readings:
            self.add(one)

    def add(self, reading: Reading) -> None:
        """One more reading."""
        self._by.setdefault(reading.place, []).append(reading)

    def of(self, structure: str, measure: str) -> list[Reading]:
        """Those of one measure; what was computed here stands in the place of what was sent."""
        found = self._by.get((structure, measure), [])
        return [r for r in found if r.made] or found

    def sent(self, structure: str, measure: str) -> list[Reading]:
        """Those of one measure that were sent."""
        return [r for r in self._by.get((structure, measure), []) if not r.made]

    def places(self) -> list[Place]:
        """The places that have readings."""
        return list(self._by)

    def one(self, structure: str, measure: str) -> Taken | None:
        """The value that stands for a measure: the mean of repeated ones, else the latest. None taken elsewhere."""
        found = [r for r in self.of(structure, measure) if not r.spot]
        if not found:
            return None
        if len(found) > 1 and self._repeated(structure, measure):
            return mean(found)
        last = latest(found)
        return Taken(last.value, (last,))

    def extreme(self, structure: str, measure: str, pick: str) -> Taken | None:
        """The largest (max) or smallest (min) of at least two readings."""
        found = self.of(structure, measure)
        if len(found) < 2:
            return None
        chosen = (max if pick == "max" else min)(found, key=lambda r: r.value)
        return Taken(chosen.value, (chosen,))


def mean(readings: Sequence[Reading]) -> Taken:
    """The mean of readings, exactly."""
    return Taken(sum((r.value for r in readings), Fraction(0)) / len(readings), tuple(readings))


def latest(readings: Sequence[Reading]) -> Reading:
    """The reading taken last; of those of one time, the one that came in last."""
    found = readings[0]
    for one in readings[1:]:
        if moments.compare(one.at, found.at) != -1:
            found = one
    return found


def together(many: Sequence[Sequence[Reading]]) -> list[tuple[Reading, ...]]:
    """The readings of several measures that belong to one thing: of one resource, else of one side, else the only ones.

    What cannot be told apart belongs nowhere."""
    shared = _grouped(many, lambda r: r.source)
    if shared:
        return shared
    sided = _grouped(many, lambda r: r.side)
    if sided:
        return sided
    return [tuple(one[0] for one in many)] if all(len(one) == 1 for one in many) else []


def _grouped(many: Sequence[Sequence[Reading]], by: Callable[[Reading], str]) -> list[tuple[Reading, ...]]:
    """One group for each mark that every measure has exactly one reading of."""
    marks = list(dict.fromkeys(by(r) for r in many[0] if by(r)))
    groups = [[[r for r in one if by(r) == mark] for one in many] for mark in marks]
    return [tuple(one[0] for one in group) for group in groups if all(len(one) == 1 for one in group)]
