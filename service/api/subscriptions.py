"""Subscription/$status and $events: how subscriptions stand, and what happened to those who missed it."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

from service.access import scopes
from service.actions.ports import View
from service.api import answers
from service.api.answers import Answer
from service.api.ask import Ask
from service.api.inputs import Inputs, inputs
from service.api.read import present
from service.basics.errors import Fault, Invalid, Missing, NotPermitted
from service.basics.ids import new_id
from service.basics.subscription import Subscription
from service.fhir import exact
from service.fhir.reading.subscription import CONTENTS
from service.fhir.writing.notification import Told, notification
from service.fhir.writing.notification import status as told_status

Json = dict[str, Any]
MOST = 200
"""Events in one answer."""
_LAST = 2**62


def status(ask: Ask) -> Answer:
    """A searchset of Parameters, one for each Subscription asked for. Raises Missing for one that is not there."""
    given = inputs(ask, {"id", "status"})
    ids, states = ({ask.id}, set[str]()) if ask.id else (set(given.every("id")), set(given.every("status")))
    with ask.kit.books.view(ask.caller.organization) as view:
        if ask.id:
            present(ask, view.get("Subscription", ask.id))
        found = [
            one for one in view.subscriptions() if (not ids or one.id in ids) and (not states or one.state in states)
        ]
    if ask.id and not found:
        raise Missing(Fault("not-found", f"Nothing is sent for Subscription/{ask.id}."))
    entries = [_entry(one) for one in found]
    bundle = {"resourceType": "Bundle", "type": "searchset", "total": len(entries), "entry": entries}
    if not entries:
        del bundle["entry"]
    return Answer(200, exact.encode(bundle), seen=tuple(f"Subscription/{one.id}" for one in found))


def _entry(one: Subscription) -> Json:
    id_ = new_id()
    resource = told_status(one, "query-status", id_=id_)
    return {"fullUrl": f"urn:uuid:{id_}", "resource": resource, "search": {"mode": "match"}}


def events(ask: Ask) -> Answer:
    """A history Bundle: the status, then the resources as they were. Raises Invalid for what is no number."""
    given = inputs(ask, {"eventsSinceNumber", "eventsUntilNumber", "content"})
    first, last = _number(given, "eventsSinceNumber", 1), _number(given, "eventsUntilNumber", _LAST)
    with ask.kit.books.view(ask.caller.organization) as view:
        present(ask, view.get("Subscription", ask.id))
        one = view.subscription(ask.id)
        if one is None or not one.topic:
            raise Missing(Fault("not-found", f"Subscription/{ask.id} has no topic, so its events are not numbered."))
        content = given.once("content") or one.content
        if content not in CONTENTS:
            raise Invalid(Fault("value", f"content is one of {', '.join(CONTENTS)}.", "content"))
        if content != "empty" and not scopes.covers(ask.caller.scopes, f"system/{one.type}.rs"):
            raise NotPermitted(Fault("forbidden", f"The token lacks the scope system/{one.type}.rs."))
        told = list(_told(view, one, first=first, last=last, full=content == "full-resource"))
    bundle = notification(
        one, "query-event", id_=new_id(), at=exact.instant(datetime.now(UTC)), told=told, content=content
    )
    return answers.resource(bundle)


def _told(view: View, one: Subscription, *, first: int, last: int, full: bool) -> Iterator[Told]:
    for happening in view.happenings(one.id, first=first, last=last, most=MOST):
        type_, _, id_ = happening.focus.partition("/")
        stored = view.version(type_, id_, happening.version) if full else None
        yield happening, exact.trusted(stored.body) if stored and not stored.deleted else None


def _number(given: Inputs, name: str, otherwise: int) -> int:
    text = given.once(name)
    if text and not (text.isascii() and text.isdecimal() and len(text) < 19):
        raise Invalid(Fault("value", f"{name} must be a whole number.", name))
    return int(text) if text else otherwise
