"""What a subscriber is told: the status of a Subscription, and Bundles of events, as the R5 backport has them in R4."""

from collections.abc import Iterable, Sequence
from typing import Any

from service.basics.subscription import Happening, Subscription
from service.fhir import uris

Json = dict[str, Any]
Told = tuple[Happening, Json | None]
"""An event, and the resource where content of it is sent."""


def status(one: Subscription, kind: str, *, id_: str = "", told: Iterable[Told] = (), content: str = "") -> Json:
    """The Parameters that say how a Subscription stands. kind: handshake, heartbeat, event-notification, query-...

    content: how much may be told of the events, as asked for by the Subscription when it is not given."""
    much = content or one.content
    parts: list[Json] = [{"name": "subscription", "valueReference": {"reference": f"{one.base}/Subscription/{one.id}"}}]
    if one.topic and much != "empty":
        parts.append({"name": "topic", "valueCanonical": one.topic})
    parts += [
        {"name": "status", "valueCode": one.state},
        {"name": "type", "valueCode": kind},
        {"name": "events-since-subscription-start", "valueString": str(one.events)},
    ]
    parts += [{"name": "notification-event", "part": _event(one, happening, much)} for happening, _ in told]
    if one.error:
        parts.append({"name": "error", "valueCodeableConcept": {"text": one.error}})
    head: Json = {"resourceType": "Parameters"} | ({"id": id_} if id_ else {})
    return head | {"meta": {"profile": [uris.BACKPORT_STATUS]}, "parameter": parts}


def _event(one: Subscription, happening: Happening, content: str) -> list[Json]:
    parts: list[Json] = [
        {"name": "event-number", "valueString": str(happening.number)},
        {"name": "timestamp", "valueInstant": happening.at},
    ]
    if content != "empty":
        parts.append({"name": "focus", "valueReference": {"reference": f"{one.base}/{happening.focus}"}})
    return parts


def notification(
    one: Subscription, kind: str, *, id_: str, at: str, told: Sequence[Told] = (), content: str = ""
) -> Json:
    """The Bundle that a subscriber is sent; resources come along where there are any and content is full-resource."""
    first = {
        "fullUrl": f"urn:uuid:{id_}",
        "resource": status(one, kind, id_=id_, told=told, content=content),
        "request": {"method": "GET", "url": f"Subscription/{one.id}/$status"},
        "response": {"status": "200"},
    }
    full = (content or one.content) == "full-resource"
    entries = [_entry(one, happening, resource) for happening, resource in told if full and resource]
    return {
        "resourceType": "Bundle",
        "id": id_,
        "meta": {"profile": [uris.BACKPORT_NOTIFICATION]},
        "type": "history",
        "timestamp": at,
        "entry": [first, *entries],
    }


def _entry(one: Subscription, happening: Happening, resource: Json) -> Json:
    type_ = happening.focus.partition("/")[0]
    new = happening.version == 1
    return {
        "fullUrl": f"{one.base}/{happening.focus}",
        "resource": resource,
        "request": {"method": "POST", "url": type_} if new else {"method": "PUT", "url": happening.focus},
        "response": {"status": "201" if new else "200"},
    }
