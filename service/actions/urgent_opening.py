"""A confirmed urgent finding into the Communication that is to be made and the Task of making it."""

from dataclasses import replace
from typing import Any

from service.actions.case import person
from service.actions.lookup import Lookup
from service.actions.urgent_case import Matter
from service.basics.ids import new_id
from service.exam import urgent_state
from service.exam.survey import Entry
from service.exam.urgent import Tier
from service.fhir.reading import urgent as reading
from service.fhir.reading.task import entries
from service.fhir.writing import urgent as writing
from service.fhir.writing.report import Party

Json = dict[str, Any]


def raised(matter: Matter, *, code: str, title: str, tier: Tier) -> Json:
    """The Task of an urgent finding that a person raises, named on the exam's Task; not yet confirmed."""
    exam, id_ = matter.exam, new_id()
    place = writing.Place(exam.id, exam.order, exam.animal)
    finding = writing.finding_task(id_, place, code=code, title=title, tier=tier, now=matter.now)
    named = Entry(f"{reading.ON_EXAM}{_key(matter, code)}", f"Task/{id_}", "", "")
    matter.task = writing.named_on(matter.task, named, now=matter.now)
    matter.changed.append(matter.task)
    if exam.state == "accepted":
        matter.exam = replace(exam, state="in-progress")
        matter.work.save_exam(matter.exam)
    return finding


def _key(matter: Matter, code: str) -> str:
    """How the exam names it: its code, with a number when there is one of it already."""
    known = reading.found_on(matter.task)
    numbered = (f"{code}-{n}" for n in range(2, len(known) + 3))
    return code if code not in known else next(key for key in numbered if key not in known)


def confirm(matter: Matter, finding: Json, *, by: str, reason: str, tier: Tier, recipient: Party) -> None:
    """Confirm a finding: its Task is done, somebody is to be told, the clock runs since it was identified."""
    now = matter.now
    responsible = _responsible(matter, recipient)
    changed_tier = reading.tier(finding) != tier.number
    if changed_tier:
        finding = writing.restarted(finding, tier, now=reading.identified(finding))
    message_id, spoken_id = new_id(), new_id()
    held = entries(finding)
    because = urgent_state.live(held, urgent_state.BECAUSE)
    said = Entry(urgent_state.CONFIRMED, "", now, by, value=f"tier {tier.number}", note=reason)
    told = Entry(urgent_state.MESSAGE, f"Task/{message_id}", now, by)
    message = writing.message_task(message_id, finding, spoken_id, tier=tier, owner=responsible, by=by, now=now)
    words = "; ".join([str(finding["description"]), *([reason] if reason else []), *(e.value for e in because)])
    matter.communication = writing.communication(
        spoken_id, finding, tier=tier, recipient=responsible, words=words, about=[e.source for e in because]
    )
    held = (*urgent_state.decided(held, said), told)
    matter.finding = writing.update_finding(finding, held, waits=tier.finish_waits, now=now)
    matter.message = writing.update_message(message, (), now=now)
    matter.changed += [matter.finding, matter.message, matter.communication]


def _responsible(matter: Matter, given: Party) -> Party:
    """Whoever was named, else whoever asked for the exam, with the name that is known here."""
    lookup = Lookup(matter.work)
    if not given.reference and not given.display:
        asked = (lookup.find(f"ServiceRequest/{matter.exam.order}") or {}).get("requester", {})
        given = Party(str(asked.get("reference", "")), str(asked.get("display", "")))
    if given.reference and not given.display:
        return Party(given.reference, person(lookup, given.reference))
    return given
