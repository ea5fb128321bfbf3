"""A Subscription that is written, into what is watched and where it goes; what will not be honoured is refused."""

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from service.actions.pending import Pending
from service.actions.ports import Caller, House, Work
from service.actions.writing import decoded
from service.basics.errors import Fault, Invalid, NotPermitted, RuleBroken
from service.basics.ids import new_id
from service.basics.query import Backward, Both, Criterion, Either, Forward, Not
from service.basics.stored import Post
from service.basics.subscription import HANDSHAKE, NOTICE, Subscription
from service.fhir import exact, search
from service.fhir.reading.subscription import KEPT, Asked, asked, ended, masked
from service.fhir.types import STORABLE
from service.fhir.writing.notification import notification

Json = dict[str, Any]
_RESULTS = frozenset({"_sort", "_count", "_include", "_revinclude", "_summary", "_elements", "_total", "_contained"})
_EPOCH = datetime.fromisoformat("1970-01-01T00:00:00+00:00")


def admit(house: House, work: Work, caller: Caller, waiting: Sequence[Pending]) -> None:
    """Take up every Subscription among the entries: its row, its address, and the handshake that it begins with.

    What is stored bears no secrets. Raises RuleBroken naming all that is not honoured, NotPermitted without scopes."""
    for one in waiting:
        if one.writes and one.entry.type == "Subscription" and one.resource is not None:
            _take(house, work, caller, one, one.resource)


def _take(house: House, work: Work, caller: Caller, one: Pending, resource: Json) -> None:
    before = decoded(one.before) if one.before else {}
    wanted, faults = asked(resource)
    url, secret = work.endpoint(one.id)
    headers, unknown = _headers(wanted, secret)
    faults += [*unknown, *_status(resource, before)]
    faults += [Fault("value", text, "Subscription.channel.endpoint") for text in _address(house, wanted)]
    faults += [] if faults else _criteria(house, work, wanted)
    if faults:
        raise RuleBroken(*(f.inside(one.content) if one.content else f for f in faults))
    if not house.may_watch(caller, wanted.type):
        raise NotPermitted(Fault("forbidden", f"The token lacks the scope system/{wanted.type}.rs.", one.content))
    known = work.hold_subscription(one.id)
    now = _micros(work.now)
    drawn = _drawn(house, caller, one.id, wanted)
    same = known is not None and _same(known, drawn) and (url, secret) == (wanted.endpoint, headers)
    one.resource = masked(resource)
    if resource["status"] == "off" or (known and same and resource["status"] == known.state):
        _leave(work, known or drawn, state=resource["status"], until=drawn.until_us)
        return
    kept = replace(drawn, events=known.events, begun=known.events) if known else drawn
    begun = replace(kept, state="requested" if kept.topic else "active", told_us=now)
    one.resource["status"] = begun.state
    one.resource.pop("error", None)
    work.save_subscription(replace(begun, stated=begun.state))
    settings = json.dumps({"timeout": wanted.timeout})
    work.aim(begun, url=wanted.endpoint, secret=headers, settings=settings, active=True)
    if begun.topic:
        _shake_hands(work, begun, one.version)


def _leave(work: Work, one: Subscription, *, state: str, until: int) -> None:
    """Keep a subscription as it is, or switch it off."""
    left = replace(one, state=state, stated=state, until_us=until)
    work.save_subscription(left)
    if state == "off":
        work.stop_aiming(left)


def _shake_hands(work: Work, one: Subscription, version: int) -> None:
    id_ = new_id()
    bundle = notification(one, HANDSHAKE, id_=id_, at=exact.instant(work.now))
    key = f"{one.id}:{HANDSHAKE}:{version}"
    work.post([Post(id_, one.destination, key, one.destination, HANDSHAKE, exact.encode(bundle), NOTICE)])


def _drawn(house: House, caller: Caller, id_: str, wanted: Asked) -> Subscription:
    end = ended(wanted.end)
    return Subscription(
        id=id_,
        type=wanted.type,
        criteria=urlencode(wanted.params),
        topic=wanted.topic,
        content=wanted.content,
        base=house.base,
        state="requested",
        asker=caller.asker,
        heartbeat=wanted.heartbeat,
        most=wanted.most,
        until_us=_micros(end) if end else 0,
    )


def _same(known: Subscription, drawn: Subscription) -> bool:
    """Whether a subscription goes on as it was: its end may be another."""
    names = ("type", "criteria", "topic", "content", "heartbeat", "most")
    return all(getattr(known, name) == getattr(drawn, name) for name in names)


def _status(resource: Json, before: Json) -> Iterator[Fault]:
    given, was = resource.get("status"), before.get("status")
    allowed = {"requested", "off", was} | ({"active"} if was else set())
    if given not in allowed:
        text = f"A Subscription is requested or off; whether it is {given} is for the service to say."
        yield Fault("business-rule", text, "Subscription.status")


def _headers(wanted: Asked, secret: str) -> tuple[str, list[Fault]]:
    """The headers with their secrets as JSON text, those that were masked as they are kept."""
    kept: dict[str, str] = dict(json.loads(secret or "[]"))
    faults = [
        Fault("value", f"{name} is not kept here: give its value.", "Subscription.channel.header")
        for name, value in wanted.headers
        if value == KEPT and name not in kept
    ]
    found = [[name, kept.get(name, "") if value == KEPT else value] for name, value in wanted.headers]
    return json.dumps(found), faults


def _address(house: House, wanted: Asked) -> Iterable[str]:
    return house.address_faults(wanted.endpoint) if wanted.endpoint else ()


def _criteria(house: House, work: Work, wanted: Asked) -> list[Fault]:
    where = "Subscription.criteria"
    if wanted.type not in STORABLE - {"AuditEvent", "Subscription"}:
        return [Fault("not-supported", f"{wanted.type or 'This'} can't be watched here.", where)]
    wrong = sorted({name for name, _ in wanted.params} & _RESULTS)
    if wrong:
        return [Fault("not-supported", f"{', '.join(wrong)} says nothing about a resource.", where)]
    try:
        query = search.parse(work.organization, wanted.type, wanted.params, strict=True, base=house.base)
    except Invalid as refusal:
        return [Fault(f.reason, f.text, where) for f in refusal.faults]
    if any(map(_leads_elsewhere, query.criteria)):
        return [Fault("not-supported", "Chains through other resources can't be watched.", where)]
    return []


def _leads_elsewhere(criterion: Criterion) -> bool:
    match criterion:
        case Forward() | Backward():
            return True
        case Not(of=of):
            return _leads_elsewhere(of)
        case Either(of=several) | Both(of=several):
            return any(map(_leads_elsewhere, several))
        case _:
            return False


def _micros(when: datetime) -> int:
    return (when - _EPOCH) // timedelta(microseconds=1)
