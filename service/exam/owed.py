"""A step's rule and what was entered into what is still owed, item by item."""

from collections.abc import Iterator, Mapping, Sequence, Set

from service.exam import asking, banded, follow_up, on_record
from service.exam.entries import NOT_THERE, UNREAD, begun, disposition, items, kind, live
from service.exam.noted import asked
from service.exam.rules import Attribute
from service.exam.survey import Entry, Owed, Step

PLANES = {"long": "long axis", "short": "short axis", "multi": "several directions", "dorsal": "dorsal plane"}
DEFERRED = "deferred"
Titles = Mapping[str, str]
Items = Set[str]


def owed(
    step: Step,
    attributes: Sequence[Attribute],
    *,
    stills_owed: bool = True,
    clips_owed: bool = True,
    titles: Titles | None = None,
) -> tuple[Owed, ...]:
    """What the step still needs before it is complete; nothing for an optional step that was not begun.

    attributes: the vocabulary of its structure. titles: words for items ("measure:length"), for people."""
    found = items(step)
    said = kind(disposition(step))
    if said in NOT_THERE or not (step.rule.owed_from_start or begun(step)):
        return ()
    if asking.question(step.rule):
        return tuple(_question(step, found))
    if on_record.waits(step):
        return tuple(on_record.owed(step, found))
    missing = [*_deferral(step, said), *on_record.owed(step, found)]
    if said not in {"seen-part", "settled-elsewhere"}:
        missing += _planes(step, found)
        missing += _images(step, found, stills_owed=stills_owed, clips_owed=clips_owed)
        missing += _measures(step, found, titles=titles or {})
    if said != "settled-elsewhere":
        missing += follow_up.owed(step, attributes, found=found, titles=titles or {})
        missing += banded.owed(step, attributes, found)
    return (*missing, *_statements(step, attributes, found=found))


def _question(step: Step, found: Items) -> Iterator[Owed]:
    item = asking.question(step.rule)
    if item not in found:
        yield Owed(item, asking.WORDS[item])


def _deferral(step: Step, said: str) -> Iterator[Owed]:
    entry = disposition(step)
    if said == DEFERRED and entry is not None:
        where = entry.window or (f"station {entry.station}" if entry.station else "a second look")
        yield Owed(DEFERRED, f"Deferred to {where}: look again, or say how it ended")


def _planes(step: Step, found: Items) -> Iterator[Owed]:
    for plane in step.rule.planes:
        if not _done(found, f"plane:{plane}"):
            words = PLANES.get(plane, plane)
            yield Owed(f"plane:{plane}", f"View in {words}: an image, a measurement or a statement in it")


def _images(step: Step, found: Items, *, stills_owed: bool, clips_owed: bool) -> Iterator[Owed]:
    missing = step.rule.stills - stills(step)
    if stills_owed and missing > 0 and "excused:still" not in found:
        words = f"{missing} more still image{'s' if missing > 1 else ''} of {step.rule.stills} asked for"
        yield Owed("still", words, missing)
    if clips_owed and step.rule.clip in {"required", "required-if-present"} and not _done(found, "clip"):
        yield Owed("clip", "A clip")


def stills(step: Step) -> int:
    """The still images received. A study may hold the very images that were also sent alone: the larger count holds."""
    found = [e for e in live(step) if e.item == "still"]
    alone = len({e.source for e in found if not e.value})
    return max(alone, _in_studies(found))


def _in_studies(found: Sequence[Entry]) -> int:
    return sum({e.source: int(e.value) for e in found if e.value}.values())


def _measures(step: Step, found: Items, *, titles: Titles) -> Iterator[Owed]:
    for key in step.rule.measures:
        if not _done(found, f"measure:{key}"):
            words = titles.get(f"measure:{key}") or key.replace("_", " ").replace("-", " ")
            yield Owed(f"measure:{key}", f"Measurement: {words[:1].lower()}{words[1:]}")


def _statements(step: Step, attributes: Sequence[Attribute], *, found: Items) -> Iterator[Owed]:
    for attribute in asked(step, attributes):
        item = f"finding:{attribute.key}"
        if _done(found, item):
            continue
        told = _told(step, attribute)
        yield Owed(item, f"Statement: {attribute.title[:1].lower()}{attribute.title[1:]}{told}")


def _told(step: Step, attribute: Attribute) -> str:
    """Why "as expected" did not answer it."""
    if f"{UNREAD}finding:{attribute.key}" in items(step):
        return " (one was sent in a code that is not known here: read it and state it)"
    if attribute.default is None and kind(disposition(step)) == "seen":
        return f" (no single value is expected: {'; '.join(v.display for v in attribute.values)})"
    return ""


def _done(found: Items, item: str) -> bool:
    return item in found or f"excused:{item}" in found
