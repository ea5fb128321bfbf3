"""A word that stands for a band of a measurement, and the measurement itself, into whether they agree."""

from collections.abc import Iterator, Sequence, Set
from decimal import Decimal, InvalidOperation

from service.exam.entries import live
from service.exam.noted import values
from service.exam.rules import Attribute, Band, Value
from service.exam.survey import Owed, Step

AGREE = "agree"


def excusable(step: Step, attributes: Sequence[Attribute]) -> tuple[str, ...]:
    """The items that a reason can excuse: words noted here that a measurement could contradict."""
    return tuple(f"{AGREE}:{a.key}" for a, value in values(step, attributes) if _bands(step, value))


def owed(step: Step, attributes: Sequence[Attribute], found: Set[str]) -> Iterator[Owed]:
    """Each word that none of the readings of its measurement agrees with. found: the live items of the step."""
    for attribute, value in values(step, attributes):
        item = f"{AGREE}:{attribute.key}"
        against = [r for r in (_against(step, band) for band in _bands(step, value)) if r is not None]
        if against and item not in found and f"excused:{item}" not in found:
            text = f'{attribute.title}: "{value.display}" and a measured value of {against[0]} contradict each other'
            yield Owed(item, f"{text}. Correct one of them, or excuse this with what explains it")


def _bands(step: Step, value: Value) -> list[Band]:
    return [b for b in value.bands if b.species in {"both", step.rule.species}]


def _against(step: Step, band: Band) -> str | None:
    """The last reading of the band's measurement when none lies in it."""
    said = [e.value for e in live(step) if e.item == f"measure:{band.measure}"]
    readings = [(text, number) for text in said if (number := _number(text)) is not None]
    if not readings or any(band.holds(number) for _, number in readings):
        return None
    return readings[-1][0]


def _number(text: str) -> Decimal | None:
    try:
        return Decimal(text.partition(" ")[0])
    except InvalidOperation:
        return None
