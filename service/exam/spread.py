"""What was sent and matched into entries: which go to which step, which to the exam as a whole."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from service.exam import asking
from service.exam.circumstances import noted
from service.exam.entries import UNREAD, begun
from service.exam.evidence import Evidence, Sighting, Unmapped
from service.exam.survey import Entry, Step

WITH_VALUE = ("finding:", "still", "statement:", "measure:", "lesion:")


@dataclass(frozen=True, slots=True)
class Spread:
    """entries by step code; whole: for the exam; stated: dispositions that a sender states of a step."""

    entries: dict[str, list[Entry]] = field(default_factory=dict)
    whole: list[Entry] = field(default_factory=list)
    stated: list[tuple[str, Sighting]] = field(default_factory=list)


def spread(found: Iterable[Evidence | Unmapped], steps: Sequence[Step], *, now: str) -> Spread:
    """Where everything found goes. What no step asks for, and what no row knows, stays with the exam, listed.

    now: the time of what bears none."""
    result = Spread()
    for one in found:
        if isinstance(one, Unmapped):
            _unread(one, steps, result=result, now=now)
        elif one.structure:
            _placed(one, steps, result=result, now=now)
        else:
            _of_the_animal(one, steps, result=result, now=now)
    return result


def targets(structure: str, steps: Iterable[Step], *, station: int | None) -> list[Step]:
    """The steps that a look at a structure belongs to: its own, and the second look that was begun or is meant."""
    own = [s for s in steps if s.rule.structure == structure]
    return [s for s in own if not s.rule.settles or begun(s) or s.rule.station == station]


def _placed(one: Evidence, steps: Sequence[Step], *, result: Spread, now: str) -> None:
    found = targets(one.structure, steps, station=one.sighting.station)
    if not found and one.sighting.kind == "operation":
        result.whole.extend([_recorded(one, item) for item in one.items if not _listed(result.whole, item)])
    elif not found:
        result.whole.append(_entry(one.sighting, f"outside:{one.structure}", now=now))
    for step in found:
        kept = result.entries.setdefault(step.rule.code, [])
        for item in one.items:
            if one.sighting.kind == "operation":
                kept.append(_recorded(one, item))
            elif item.startswith("disposition:"):
                result.stated.append((step.rule.code, one.sighting))
            else:
                kept.append(_entry(one.sighting, item, value=_value(one, item), now=now))


def _recorded(one: Evidence, item: str) -> Entry:
    """An operation on record; it bears no time of a look, for nobody looked."""
    return Entry(item, one.sighting.source, "", one.sighting.by, one.value)


def _listed(entries: Iterable[Entry], item: str) -> bool:
    return any(e.item == item for e in entries)


def _of_the_animal(one: Evidence, steps: Sequence[Step], *, result: Spread, now: str) -> None:
    """Notes stay with the exam; an answer goes to the step that asks, or waits for it with the exam."""
    for item in one.items:
        asking_step = next((s for s in steps if asking.question(s.rule) == item), None)
        entry = _entry(one.sighting, item, value=_value(one, item), now=now)
        if asking_step is not None:
            result.entries.setdefault(asking_step.rule.code, []).append(entry)
        elif item.startswith("note:"):
            result.whole.append(entry)
        else:
            result.whole.append(_entry(one.sighting, f"outside:{item}", now=now))


def _unread(one: Unmapped, steps: Sequence[Step], *, result: Spread, now: str) -> None:
    note = f"{one.coding.system}|{one.coding.code}"
    result.whole.append(_entry(one.sighting, f"unmapped:{one.what}", value=one.coding.display, note=note, now=now))
    for structure in one.structures:
        for step in targets(structure, steps, station=one.sighting.station):
            entry = _entry(one.sighting, f"{UNREAD}{one.item or one.what}", note=note, now=now)
            result.entries.setdefault(step.rule.code, []).append(entry)


def _value(one: Evidence, item: str) -> str:
    if item.startswith("note:"):
        return noted(one.sighting)
    return one.value if item.startswith(WITH_VALUE) else ""


def _entry(sighting: Sighting, item: str, *, now: str, value: str = "", note: str = "") -> Entry:
    reason = sighting.reason if item.startswith(("excused:", "finding:")) else ""
    return Entry(
        item, sighting.source, sighting.at or now, sighting.by, value, reason, note, sighting.window, sighting.station
    )
