"""The caller's own lines of the audit, read and searched as AuditEvents; nobody else's are ever looked at."""

from collections.abc import Mapping
from dataclasses import replace

from service.actions.animal_log import animals_of, record_of
from service.api import bundles, conditions
from service.api import read as reading
from service.api import search as searching
from service.api.answers import Answer
from service.api.ask import Ask
from service.api.outcomes import outcome_of
from service.basics.errors import Fault
from service.basics.query import AuditQuery
from service.basics.stored import Stored, Trace
from service.fhir import exact
from service.fhir.search import audit
from service.fhir.writing.audit import audit_event

_UNFINISHED = Fault(
    "incomplete",
    "This page is short because only a part of the audit was looked through for it: follow its next link for the rest, "
    "or ask for a stretch of time with date.",
)


def read(ask: Ask) -> Answer:
    """One AuditEvent; raises Missing."""
    with ask.kit.books.view(ask.caller.organization) as view:
        lines, _ = view.traces(AuditQuery(criteria=((("id", ask.id),),)), count=1, after="")
        animals = animals_of(ask.kit.house, view, lines)
    found = _event(ask, lines[0], animals) if lines else None
    return reading.answer(ask, found, f"There is no AuditEvent with the id {ask.id}.")


def search(ask: Ask) -> Answer:
    """One page of AuditEvents, the newest first; raises Invalid for what isn't understood and may not be ignored."""
    params, page = searching.parameters(ask)
    asked = audit.parse(params, strict=conditions.strict(ask.headers), base=ask.base)
    count = min(asked.count, ask.kit.limits.page)
    with ask.kit.books.view(ask.caller.organization) as view:
        records = {id_: record_of(ask.kit.house, view, id_) for ids in asked.animals for id_ in ids}
        touching = tuple(frozenset[str]().union(*(records[id_] for id_ in ids)) for ids in asked.animals)
        lines, after = view.traces(replace(asked.wanted, touching=touching), count=count, after=page)
        animals = animals_of(ask.kit.house, view, lines)
    events = [_event(ask, line, animals) for line in lines]
    entries = [bundles.match(ask.base, event) for event in events] + searching.warnings(asked.ignored)
    if after and len(lines) < count:
        entries.append(searching.said(outcome_of([_UNFINISHED], severity="information")))
    links = bundles.links(f"{ask.base}/{ask.type}", asked.used, after=after, page=page)
    seen = tuple(f"AuditEvent/{event.id}" for event in events)
    return Answer(200, bundles.joined({"type": "searchset", "link": links}, entries), seen=seen)


def _event(ask: Ask, line: Trace, animals: Mapping[str, tuple[str, ...]]) -> Stored:
    own = animals.get(line.id, ())
    event = audit_event(line, organization=ask.caller.organization, base=ask.base, animals=own)
    return Stored("AuditEvent", line.id, 1, line.recorded, exact.encode(event))
