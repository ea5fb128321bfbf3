"""An act on a step into everything that forbids it, in words a person can act on."""

from collections.abc import Iterator, Mapping, Sequence

from service.basics.errors import Fault
from service.exam import asking, moments, on_record
from service.exam.act import Act
from service.exam.entries import (
    NOT_THERE,
    RETRACTED,
    disposition,
    head,
    kind,
    last_disposition,
    live,
    proves_sight,
)
from service.exam.rules import Reason
from service.exam.survey import Entry, Step

DISPOSITIONS = ("seen", "seen-part", "not-seen", "absent-surgical", "absent-unexplained", "deferred")
WITH_REASON = frozenset({"seen-part", "not-seen"})


def faults(step: Step, act: Act, *, reasons: Mapping[str, Reason], more: Sequence[str] = ()) -> list[Fault]:
    """All that forbids an act that states something (not one that takes back). more: what findings made excusable."""
    if act.item:
        return [*_item(step, act, more), *_reason(act, reasons, use="excused")]
    if asking.question(step.rule):
        return [*_answers(step, act), *_reason(act, reasons, use=act.disposition)]
    if act.answers:
        return [
            _fault(
                "Sex, neuter status and testes are stated on the step that asks for them, not on one that scans.", ""
            )
        ]
    if not act.disposition and not act.planes:
        known = ", ".join(DISPOSITIONS)
        return [_fault(f"Say how the step ended: disposition is one of {known}.", "disposition", "required")]
    return [*_disposition(act), *_reason(act, reasons, use=act.disposition), *_state(step, act)]


def retract_faults(step: Step, act: Act) -> list[Fault]:
    """What forbids taking back: only that evidence, not an act, is what completed the step."""
    last = own_disposition(step)
    if act.item or act.planes or asking.question(step.rule) or last is not None:
        if act.disposition and last is not None and kind(last) != act.disposition:
            text = f'The last disposition of this step is "{kind(last)}", not "{act.disposition}".'
            return [_fault(text, "disposition", "conflict")]
        return []
    if any(e.item.startswith(RETRACTED) for e in step.entries):
        return []  # taken back before
    if live(step):
        text = "No disposition was stated here to be taken back; set the evidence itself to entered-in-error."
        return [_fault(text, "retract")]
    return []


def own_disposition(step: Step) -> Entry | None:
    """The disposition entered last on the step itself, not the one it owes to another step."""
    found = [e for e in live(step) if head(e) == "disposition"]
    return found[-1] if found else None


def said_before(step: Step, act: Act) -> bool:
    """Whether the same was said: it still holds, or it is the repeat of an earlier act by its own time."""
    last = last_disposition(step)
    said = [e for e in live(step) if e.item == f"disposition:{act.disposition}" and _same_words(e, act)]
    if act.timed and any(e.at == act.at for e in said):
        return True
    holds = disposition(step)
    return holds is not None and holds is last and not _other_time(holds, act) and any(e is holds for e in said)


def _other_time(holds: Entry, act: Act) -> bool:
    return act.timed and moments.compare(act.at, holds.at) not in {0, None} and kind(holds) != "seen"


def _same_words(entry: Entry, act: Act) -> bool:
    note = "; ".join(filter(None, (act.operation, act.detail)))
    where = (act.window, act.station)
    return (entry.reason, entry.note) == (act.reason, note) and (
        act.disposition != "deferred" or (entry.window, entry.station) == where
    )


def _disposition(act: Act) -> Iterator[Fault]:
    if act.disposition and act.disposition not in DISPOSITIONS:
        known = ", ".join(DISPOSITIONS)
        yield _fault(f'"{act.disposition}" is no disposition; it can be {known}.', "disposition", "code-invalid")
    if act.disposition == "deferred" and not (act.window or act.station):
        yield _fault("Say where it will be looked at again: window or station.", "window", "required")
    if act.disposition == "absent-surgical" and not act.operation:
        yield _fault("Say which operation took it: operation.", "operation", "required")
    if act.disposition == "absent-surgical" and not act.detail:
        yield _fault(
            "Say on what that rests, such as a dated record or the owner's word: detail.", "detail", "required"
        )


def _reason(act: Act, reasons: Mapping[str, Reason], *, use: str) -> Iterator[Fault]:
    fitting = sorted(r.code for r in reasons.values() if use in r.dispositions)
    wanted = use in WITH_REASON or (use == "excused" and not act.detail)
    if not act.reason:
        if wanted:
            yield _fault(f"A reason is needed: {', '.join(fitting)}.", "reason", "required")
        elif use in reasons and reasons[use].needs_detail and not act.detail and use != "absent-surgical":
            yield _fault(f"{reasons[use].display}: say more in detail.", "detail", "required")
        return
    row = reasons.get(act.reason)
    if row is None or (use in WITH_REASON | {"excused"} and use not in row.dispositions):
        text = f'"{act.reason}" is no reason for this; it can be {", ".join(fitting)}.'
        yield _fault(text, "reason", "code-invalid")
    elif row.needs_detail and not act.detail and use in WITH_REASON | {"excused"}:
        yield _fault(f"{row.display}: say more in detail.", "detail", "required")


def _state(step: Step, act: Act) -> Iterator[Fault]:
    if act.timed and said_before_retracted(step, act):
        text = "This very act was taken back; state it again with another effective time if it holds after all."
        yield _fault(text, "effective", "conflict")
    last = disposition(step)
    if last is not None and act.disposition and moments.compare(act.at, last.at) == -1 and not said_before(step, act):
        text = f'A later look ({last.at}) says "{kind(last)}"; take that back first, or give the time of a later look.'
        yield _fault(text, "effective", "conflict")
    if act.disposition in NOT_THERE and any(proves_sight(e) and not e.act for e in live(step)):
        text = (
            "A measurement or finding of this structure is on record, so it was seen: state seen-part with the reason, "
            "or set that evidence to entered-in-error first."
        )
        yield _fault(text, "disposition", "conflict")


def said_before_retracted(step: Step, act: Act) -> bool:
    """Whether the same act, by its own time, was entered and taken back."""
    item = f"{RETRACTED}disposition:{act.disposition}"
    return any(e.item == item and e.at == act.at and _same_words(e, act) for e in step.entries)


def _item(step: Step, act: Act, more: Sequence[str]) -> Iterator[Fault]:
    rule = step.rule
    can = [
        *(["still"] if rule.stills else []),
        *(["clip"] if rule.clip != "no" else []),
        *(f"plane:{p}" for p in rule.planes),
        *(f"measure:{m}" for m in rule.measures),
        *([on_record.CONFLICT] if on_record.contradicts(step) else []),
        *more,
    ]
    if act.item not in can:
        known = f"it can be {', '.join(can)}" if can else "this step has nothing that can be"
        yield _fault(f'"{act.item}" cannot be excused here; {known}.', "item", "code-invalid")


def _answers(step: Step, act: Act) -> Iterator[Fault]:
    wanted = asking.question(step.rule)
    given = dict(act.answers).get(wanted)
    if given is None and act.disposition != "not-seen":
        yield _fault(f"{asking.WORDS[wanted]}; or say not-seen with a reason.", "", "required")
    elif given is not None and given not in asking.ANSWERS[wanted]:
        yield _fault(f'"{given}" is no answer; it can be {", ".join(asking.ANSWERS[wanted])}.', "", "value")


def _fault(text: str, name: str, reason: str = "business-rule") -> Fault:
    return Fault(reason, text, f"Parameters.parameter.where(name='{name}')" if name else "Parameters.parameter")
