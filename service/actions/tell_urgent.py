"""$urgent-attempt and $urgent-acknowledge: who was tried, who was told, and that it was received."""

from collections.abc import Iterator
from typing import Any

from service.actions import urgent_post
from service.actions.ports import Caller, House
from service.actions.urgent_case import Matter, answered, on_matter
from service.basics.errors import Conflict, Fault, RuleBroken
from service.exam import moments, urgent_state
from service.exam.survey import Entry
from service.fhir.reading import urgent as reading
from service.fhir.reading.task import entries
from service.fhir.reading.urgent_act import Telling, read_attempt, read_receipt, where
from service.fhir.writing import urgent as writing
from service.fhir.writing.report import Party

Json = dict[str, Any]


def attempt(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Record a try to reach somebody that has not led to a receipt, and who is tried next; answers with the record.

    The same try again changes nothing. Raises Conflict when the finding is received or was never confirmed."""
    said = read_attempt(parameters)
    with on_matter(house, caller, task_id, name="urgent-attempt") as matter:
        held = _open(matter)
        tried = Entry(f"{urgent_state.ATTEMPT}{said.method}", "", said.at, said.by, value=said.to, note=said.outcome)
        if tried not in held:
            _tried(matter, said, (*held, tried))
            urgent_post.tell(house, caller, matter)
        return answered(matter)


def acknowledge(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Record that a named person was told and has received it; closes the finding, answers with the record.

    Safe to repeat. Raises RuleBroken when the tier asks for more than was done, Conflict when somebody else has
    received it before."""
    said = read_receipt(parameters)
    with on_matter(house, caller, task_id, name="urgent-acknowledge") as matter:
        before = _received(matter)
        if before is not None and before.value == said.to:
            return answered(matter)
        if before is not None:
            text = f"{before.value} has received this finding at {before.at}; the record stays as it is."
            raise Conflict(Fault("business-rule", text, "Task.status"))
        held = _open(matter)
        faults = list(_short(matter, said))
        if faults:
            raise RuleBroken(*faults)
        _told(matter, said, held)
        urgent_post.tell(house, caller, matter)
        return answered(matter)


def _open(matter: Matter) -> tuple[Entry, ...]:
    """What is entered of a message that is still to be received."""
    if matter.message is None:
        text = "Nobody is to be told yet: confirm the finding first (Task/<finding>/$urgent)."
        raise Conflict(Fault("business-rule", text, "Task.status"))
    held = entries(matter.message)
    status, state = urgent_state.message_state(held)
    if status in {"completed", "cancelled"}:
        words = urgent_state.MESSAGE_STATES[state]
        raise Conflict(Fault("business-rule", f"Nothing is to be told any more. {words}.", "Task.status"))
    return held


def _received(matter: Matter) -> Entry | None:
    held = entries(matter.message) if matter.message else ()
    return next(iter(urgent_state.live(held, urgent_state.ACKNOWLEDGED)), None)


def _tried(matter: Matter, said: Telling, held: tuple[Entry, ...]) -> None:
    message = matter.message or {}
    following = Party(*said.escalated_to)
    name = following.display or following.reference
    if name:
        held = (*held, Entry(urgent_state.PASSED_ON, "", said.at, said.by, value=name))
        message = {**message, "owner": writing.party(following)}
    matter.message = writing.update_message(message, held, now=matter.now)
    matter.communication = writing.sent(matter.communication or {}, status="in-progress")
    matter.changed += [matter.message, matter.communication]


def _short(matter: Matter, said: Telling) -> Iterator[Fault]:
    """What the tier asks for and was not done."""
    tier = matter.rules.tiers[reading.tier(matter.message or {})]
    spoken = said.method in urgent_state.VOICE
    if tier.voice and not spoken and not said.detail:
        text = "This tier is told by voice or in person; if that could not be, say why in `detail`."
        yield Fault("business-rule", text, where("method"))
    if spoken and said.read_back is None:
        text = "Say whether it was read back, in `readBack`."
        yield Fault("required", text, where("readBack"))
    if not spoken and not said.received:
        text = "A message is received when that is confirmed: say when, in `received`."
        yield Fault("required", text, where("received"))
    if said.at and said.received and moments.compare(said.received, said.at) == -1:
        yield Fault("value", "It cannot have been received before it was told.", where("received"))


def _told(matter: Matter, said: Telling, held: tuple[Entry, ...]) -> None:
    at = said.at or matter.now
    received = said.received or at
    kind = "read-back" if said.read_back else "confirmed"
    spoken = Entry(f"{urgent_state.ACKNOWLEDGED}{said.method}", "", at, said.by, value=said.to, note=said.detail)
    receipt = Entry(f"received:{kind}", "", received, said.to)
    matter.message = writing.update_message(matter.message or {}, (*held, spoken, receipt), now=matter.now)
    matter.communication = writing.sent(matter.communication or {}, status="completed", entry=spoken, received=received)
    matter.changed += [matter.message, matter.communication]
