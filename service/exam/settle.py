"""One explicit act on a step ("seen as expected", "not seen: gas", "taken back") into the entries it makes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from service.exam import asking, banded, follow_up, moments, on_record, settle_faults
from service.exam.act import Act
from service.exam.entries import UNREAD, disposition, head, items, kind, last_disposition, live, proves_sight, take_back
from service.exam.noted import asked
from service.exam.rules import Attribute, Reason
from service.exam.statement import Settled, Statement
from service.exam.survey import Entry, Step

__all__ = ["Act", "Settled", "Statement", "decide", "leave"]


@dataclass(frozen=True, slots=True)
class _Draft:
    step: Step
    act: Act
    attributes: Sequence[Attribute]
    reasons: Mapping[str, Reason] = field(default_factory=dict)

    def entry(self, item: str, *, value: str = "", source: str = "") -> Entry:
        act = self.act
        note = act.operation if not act.detail else f"{act.operation}; {act.detail}" if act.operation else act.detail
        return Entry(item, source, act.at, act.by, value, act.reason, note, act.window, act.station, act=act.key)


def leave(step: Step, act: Act) -> Act:
    """The act that closes an open step because the rest of the exam is left: seen in part where it was seen at all."""
    seen = any(proves_sight(e) for e in live(step)) or kind(disposition(step)) in {"seen", "seen-part"}
    last = last_disposition(step)
    ahead = last is not None and moments.compare(act.at, last.at) == -1  # the clock of an earlier act was ahead
    at = last.at if last is not None and ahead else act.at
    return replace(act, at=at, disposition="seen-part" if seen else "not-seen")


def decide(step: Step, act: Act, *, attributes: Sequence[Attribute], reasons: Mapping[str, Reason]) -> Settled:
    """What the act makes of the step; said a second time it changes nothing. Faults come all at once.

    attributes: the vocabulary of the step's structure. "seen" fills each attribute that was never noted and has exactly
    one expected value; all else that a default could hide stays owed."""
    act = on_record.confirmed(step, act)
    draft = _Draft(step, act, attributes, reasons)
    if act.retract:
        return _take_back(draft)
    faults = settle_faults.faults(step, act, reasons=reasons, more=_excusable(step, attributes))
    if faults:
        return Settled(faults=tuple(faults))
    if act.item:
        return _excuse(draft)
    if act.answers:
        return _answer(draft)
    return _dispose(draft)


def _excusable(step: Step, attributes: Sequence[Attribute]) -> tuple[str, ...]:
    return (*follow_up.excusable(step, attributes), *banded.excusable(step, attributes))


def _dispose(draft: _Draft) -> Settled:
    step, act = draft.step, draft.act
    if not act.disposition:
        return Settled(made=tuple(_planes(draft, step)))  # a statement of planes alone
    if settle_faults.said_before(step, act):
        return Settled(made=tuple(_again(draft)))
    ended = _dependents(step, act)
    after = take_back(step, ended)
    first = _disposition(draft)
    return Settled(tuple(ended), (first, *_planes(draft, after), *_consequences(draft, after)))


def _again(draft: _Draft) -> list[Statement]:
    """What a repeat adds: what is open by now, as part of the act that holds; nothing when that was overtaken."""
    holds = disposition(draft.step)
    if holds is None or kind(holds) != draft.act.disposition:
        return []
    same = replace(draft, act=replace(draft.act, key=holds.act))
    return [*_planes(same, draft.step), *_consequences(same, draft.step)]


def _dependents(step: Step, act: Act) -> list[Entry]:
    """What the disposition that held entered beside itself: it goes when another takes its place; itself it stays.

    What was as expected stays so in the part that was seen."""
    last = last_disposition(step)
    if last is None or not last.act or (kind(last), act.disposition) == ("seen", "seen-part"):
        return []
    return [e for e in live(step) if e.act == last.act and head(e) not in {"disposition", "settled-elsewhere"}]


def _disposition(draft: _Draft) -> Statement:
    act = draft.act
    written = act.disposition in {"not-seen", "absent-surgical", "absent-unexplained", "seen-part"} and not act.source
    entry = draft.entry(f"disposition:{act.disposition}", source=act.source)
    return Statement(entry, "disposition" if written else "", reason=draft.reasons.get(act.reason))


def _planes(draft: _Draft, step: Step) -> list[Statement]:
    wanted = [f"plane:{p}" for p in dict.fromkeys(draft.act.planes)]
    return [Statement(_plain(draft.entry(item))) for item in wanted if item not in items(step)]


def _plain(entry: Entry) -> Entry:
    return replace(entry, reason="", note="")


def _consequences(draft: _Draft, step: Step) -> list[Statement]:
    if draft.act.disposition == "seen":
        return _defaults(draft, step)
    return _not_assessed(draft, step) if draft.act.disposition == "seen-part" else []


def _defaults(draft: _Draft, step: Step) -> list[Statement]:
    """The expected values that "seen as expected" stands for; filling one may ask for another, until none is left."""
    filled: dict[str, str] = {}
    made: list[Statement] = []
    while True:
        open_ = [a for a in asked(step, draft.attributes, filled) if a.key not in filled and _fillable(step, a)]
        if not open_:
            return made
        for attribute in open_:
            value = attribute.default
            if value is not None:
                filled[attribute.key] = value.code
                entry = _plain(draft.entry(f"finding:{attribute.key}", value=value.code))
                made.append(Statement(entry, "finding", attribute, value))


def _fillable(step: Step, attribute: Attribute) -> bool:
    """A default says nothing over what was noted, waits unread or was excused, nor that there is no lesion over one."""
    item = f"finding:{attribute.key}"
    denied = attribute.key == follow_up.COUNT and follow_up.recorded(step)
    taken = {item, f"{UNREAD}{item}", f"excused:{item}"} & items(step)
    return attribute.default is not None and not denied and not taken


def _not_assessed(draft: _Draft, step: Step) -> list[Statement]:
    reason = draft.reasons.get(draft.act.reason)
    open_ = [a for a in asked(step, draft.attributes) if not _noted(step, a)]
    return [
        Statement(draft.entry(f"excused:finding:{a.key}"), "not-assessed", attribute=a, reason=reason) for a in open_
    ]


def _noted(step: Step, attribute: Attribute) -> bool:
    item = f"finding:{attribute.key}"
    return bool({item, f"{UNREAD}{item}", f"excused:{item}"} & items(step))


def _excuse(draft: _Draft) -> Settled:
    item = draft.act.item
    if f"excused:{item}" in items(draft.step) or (item != "still" and item in items(draft.step)):
        return Settled()
    return Settled(made=(Statement(draft.entry(f"excused:{item}"), reason=draft.reasons.get(draft.act.reason)),))


def _answer(draft: _Draft) -> Settled:
    wanted = asking.question(draft.step.rule)
    given = dict(draft.act.answers)[wanted]
    if asking.answer(draft.step) == given:
        return Settled()
    ended = [e for e in live(draft.step) if e.item == wanted or head(e) == "disposition"]
    return Settled(tuple(ended), (Statement(_plain(draft.entry(wanted, value=given)), "answer"),))


def _take_back(draft: _Draft) -> Settled:
    faults = settle_faults.retract_faults(draft.step, draft.act)
    if faults:
        return Settled(faults=tuple(faults))
    return Settled(ended=tuple(_meant(draft.step, draft.act)))


def _meant(step: Step, act: Act) -> list[Entry]:
    """What "take it back" means: the excuse named, the planes named, the answer, else the last disposition with all
    that its act entered."""
    if act.item:
        return [e for e in live(step) if e.item == f"excused:{act.item}"]
    if act.planes and not act.disposition:
        return [e for e in live(step) if e.act and e.item in {f"plane:{p}" for p in act.planes}]
    question = asking.question(step.rule)
    if question and question in items(step):
        return [e for e in live(step) if e.item == question]
    last = settle_faults.own_disposition(step)
    if last is None:
        return []
    return [e for e in live(step) if e is last or (last.act and e.act == last.act)]
