"""$urgent: a person raises, confirms or declines an urgent finding; confirmed, somebody is to be told."""

from typing import Any

from service.actions import urgent_post
from service.actions.ports import Caller, House
from service.actions.urgent_case import Matter, about, answered, on_matter
from service.actions.urgent_opening import confirm, raised
from service.basics.errors import Conflict, Fault, Invalid, RuleBroken
from service.exam import urgent_state
from service.exam.survey import Entry
from service.exam.urgent import Tier, UrgentRule
from service.fhir.reading import urgent as reading
from service.fhir.reading.task import entries
from service.fhir.reading.urgent_act import Decision, read_decision, where
from service.fhir.writing import urgent as writing
from service.fhir.writing.report import Party

Json = dict[str, Any]
OTHER = "other"  # the finding that has no row of its own: its words say what it is


def decide(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Decide an urgent finding at its own Task, or at the exam's by the code of the `finding`; answers with the record.

    Safe to repeat: what is confirmed or declined already stays as it is. Raises Invalid with all that is missing,
    RuleBroken where nothing was suggested that could be declined, Conflict once somebody has received it."""
    said = read_decision(parameters)
    with on_matter(house, caller, task_id, name="urgent") as matter:
        if matter.finding is None:
            _named(matter, said)
        elif said.finding and said.finding != reading.code(matter.finding):
            raise Invalid(Fault("value", "This Task is of another finding.", where("finding")))
        if said.decision == "confirmed":
            _confirm(matter, said)
        else:
            _decline(matter, said)
        urgent_post.tell(house, caller, matter)
        return answered(matter)


def _named(matter: Matter, said: Decision) -> None:
    """Let the matter be about the finding that is named by its code; one without a row is known by its words."""
    rule = _rule(matter, said)
    for key, id_ in reading.found_on(matter.task).items():
        if key == rule.code or (not rule.triggers and key.startswith(f"{rule.code}-")):
            about(matter, id_)
            if matter.finding is not None and _meant(matter, matter.finding, rule, said=said):
                return
    matter.finding = matter.message = matter.communication = None


def _meant(matter: Matter, finding: Json, rule: UrgentRule, *, said: Decision) -> bool:
    """Whether a finding that the exam has is the one spoken of. What only a person can raise is another one when it is
    said in other words after somebody has received the first."""
    if rule.code == OTHER:
        return bool(finding.get("description") == said.words)
    received = matter.message is not None and urgent_state.live(entries(matter.message), urgent_state.ACKNOWLEDGED)
    if rule.triggers or not received:
        return True
    standing = urgent_state.decision(entries(finding))
    return standing is not None and standing.note == _reason(said, finding)


def _rule(matter: Matter, said: Decision) -> UrgentRule:
    code = said.finding or (OTHER if said.words else "")
    rule, species = matter.rules.urgent.get(code), reading.species(matter.task)
    if rule is None or species not in rule.species:
        known = ", ".join(r.code for r in matter.rules.urgent.values() if species in r.species)
        raise Invalid(Fault("code-invalid", f"finding is one of {known}; or say it in `words`.", where("finding")))
    needed = {"words": said.words, "tier": said.tier} if code == OTHER else {}
    faults = [
        Fault("required", f"A finding without a code of its own needs `{name}`.", where(name))
        for name, given in needed.items()
        if not given
    ]
    if faults:
        raise Invalid(*faults)
    return rule


def _confirm(matter: Matter, said: Decision) -> None:
    finding = matter.finding
    standing = urgent_state.decision(entries(finding)) if finding else None
    if standing is not None and standing.item == urgent_state.CONFIRMED:
        return
    if finding is None:
        rule = _rule(matter, said)
        title = said.words if rule.code == OTHER else rule.title
        finding = raised(matter, code=rule.code, title=title, tier=_tier(matter, said.tier or rule.tier))
    tier = _tier(matter, said.tier or reading.tier(finding))
    recipient = Party(*said.recipient)
    confirm(matter, finding, by=said.by, reason=_reason(said, finding), tier=tier, recipient=recipient)


def _reason(said: Decision, finding: Json) -> str:
    """What a person says of it besides what it is called."""
    return "; ".join(part for part in (said.reason, said.words) if part and part != finding["description"])


def _tier(matter: Matter, number: int) -> Tier:
    return matter.rules.tiers[number]


def _decline(matter: Matter, said: Decision) -> None:
    finding = matter.finding
    if finding is None:
        text = "Nothing that is recorded suggests this finding; there is nothing to decline."
        raise RuleBroken(Fault("business-rule", text, where("finding")))
    standing = urgent_state.decision(entries(finding))
    if standing is not None and standing.item == urgent_state.DECLINED:
        return
    if matter.message is not None and standing is not None:
        _stop(matter, said)
    entry = Entry(urgent_state.DECLINED, "", matter.now, said.by, note=said.reason)
    held = urgent_state.decided(entries(finding), entry)
    waits = _tier(matter, reading.tier(finding)).finish_waits
    matter.finding = writing.update_finding(finding, held, waits=waits, now=matter.now)
    matter.changed.append(matter.finding)


def _stop(matter: Matter, said: Decision) -> None:
    """Let nobody be told any more of what was confirmed before."""
    message, spoken = matter.message or {}, matter.communication or {}
    held = entries(message)
    if urgent_state.live(held, urgent_state.ACKNOWLEDGED):
        text = (
            "Somebody has received this finding. Tell them of the change: confirm a `discrepancy` on the exam's Task."
        )
        raise Conflict(Fault("business-rule", text, "Task.status"))
    tried = bool(urgent_state.live(held, urgent_state.ATTEMPT))
    stopped = Entry(urgent_state.STOPPED, "", matter.now, said.by, note=said.reason)
    matter.message = writing.update_message(message, (*held, stopped), now=matter.now)
    matter.communication = writing.sent(spoken, status="stopped" if tried else "not-done", reason=said.reason)
    matter.changed += [matter.message, matter.communication]
