"""Results that were sent beside those that their own inputs give, into those that do not agree."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from service.exam.derived import Derived
from service.exam.readings import Reading


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A result that was sent, and the one computed here that it should be."""

    sent: Reading
    computed: Derived


def disagreements(sent: Iterable[Reading], found: Sequence[Derived]) -> Iterator[Disagreement]:
    """Each result that was sent and lies further from every comparable one than its formula allows."""
    for reading in sent:
        comparable = [d for d in found if _comparable(reading, d)]
        own = [d for d in comparable if d.group == reading.source] or comparable
        if own and not any(_agree(reading, d) for d in own):
            yield Disagreement(reading, own[0])


def _comparable(reading: Reading, computed: Derived) -> bool:
    row = computed.computation
    return not reading.made and reading.structure == row.structure and reading.measure in row.checks


def _agree(reading: Reading, computed: Derived) -> bool:
    row = computed.computation
    return row.formula.within(reading.value / row.factor, computed.value)
