"""A Subscription as it was sent, into what it asks for: R4's own style, or a topic as the R5 backport has it."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from urllib.parse import parse_qsl

from service.basics.errors import Fault
from service.fhir import uris
from service.fhir.topics import TOPICS

Json = dict[str, Any]
Params = tuple[tuple[str, str], ...]
PAYLOAD = "application/fhir+json"
CONTENTS = ("empty", "id-only", "full-resource")
KEPT = "***"  # stands for the value of a header, which is never given back
MOST, LONGEST, SHORTEST = 50, 86_400 * 7, 30  # events in one notification; seconds of a heartbeat
_NAME = re.compile(r"[A-Za-z0-9!#$%&'*+.^_`|~-]{1,100}")  # a token of RFC 9110
_VALUE = re.compile(r"[!-~](?:[ -~]{0,2000}[!-~])?")
_OURS = re.compile(
    r"(?i)host|content-.*|transfer-encoding|connection|keep-alive|te|trailer|upgrade|expect|proxy-.*|accept.*|prefer"
    r"|idempotency-key|user-agent|x-request-id|forwarded|x-forwarded-.*"
)


@dataclass(frozen=True, slots=True)
class Asked:
    """type and params: what is watched; topic and content as in basics.subscription; timeout: seconds, 0 for none.

    headers: (name, value), KEPT where the value is the one that is kept already; end: an instant or ""."""

    type: str
    params: Params
    topic: str
    content: str
    endpoint: str
    headers: Params
    heartbeat: int
    timeout: int
    most: int
    end: str


def asked(resource: Json) -> tuple[Asked, list[Fault]]:
    """What a valid Subscription asks for, and everything about it that this service will not honour."""
    channel = resource.get("channel", {})
    topic = TOPICS.get(str(resource.get("criteria", "")))
    faults = [*_channel(resource, channel)]
    type_, params = (topic.type, topic.criteria) if topic else _watched(str(resource.get("criteria", "")), faults)
    if topic:
        params = (*params, *_filters(resource, topic.type, faults))
    elif _extensions(resource.get("_criteria"), uris.BACKPORT_FILTER):
        faults.append(_fault("A filter narrows a topic; here the criteria say it all.", "_criteria"))
    found = Asked(
        type=type_,
        params=params,
        topic=topic.url if topic else "",
        content=_content(channel, faults) if topic else ("resource" if channel.get("payload") else ""),
        endpoint=str(channel.get("endpoint", "")),
        headers=tuple(_headers(channel, faults)),
        heartbeat=_number(channel, uris.BACKPORT_HEARTBEAT, faults, least=SHORTEST, most=LONGEST),
        timeout=_number(channel, uris.BACKPORT_TIMEOUT, faults, least=1, most=60),
        most=min(_number(channel, uris.BACKPORT_MOST, faults, least=1, most=10**9) or 1, MOST),
        end=str(resource.get("end", "")),
    )
    if not topic and found.heartbeat:
        faults.append(_fault("Heartbeats are sent for a topic; R4's own style has none.", "channel.extension"))
    if found.content == "resource" and "?" in found.endpoint:
        faults.append(_fault("Type and id are put behind the address, so it has no part behind ?.", "channel.endpoint"))
    return found, faults


def ended(end: str) -> datetime | None:
    """The instant at which a Subscription ends, or None."""
    return datetime.fromisoformat(end).astimezone(UTC) if end else None


def _channel(resource: Json, channel: Json) -> Iterator[Fault]:
    if channel.get("type") != "rest-hook" or _extensions(channel.get("_type"), uris.BACKPORT_CHANNEL):
        yield _fault("Only channels of the type rest-hook are offered.", "channel.type")
    if not channel.get("endpoint"):
        yield _fault("Say where notifications go.", "channel.endpoint")
    if channel.get("payload", PAYLOAD) != PAYLOAD:
        yield _fault(f"The payload is {PAYLOAD}, or left out for a call without content.", "channel.payload")
    if resource.get("contained"):
        yield _fault("A Subscription holds nothing else.", "contained")


def _watched(criteria: str, faults: list[Fault]) -> tuple[str, Params]:
    if criteria.startswith(("http://", "https://", "urn:")):
        known = ", ".join(TOPICS)
        faults.append(_fault(f"There is no such topic; there are {known}.", "criteria"))
        return "", ()
    type_, _, query = criteria.partition("?")
    return type_, _pairs(query, "criteria", faults)


def _filters(resource: Json, type_: str, faults: list[Fault]) -> Iterator[tuple[str, str]]:
    for text in _extensions(resource.get("_criteria"), uris.BACKPORT_FILTER):
        head, mark, query = str(text.get("valueString", "")).partition("?")
        if mark and head != type_:
            faults.append(_fault(f"This topic is about {type_}; filter by {type_}?<search>.", "_criteria"))
        yield from _pairs(query if mark else head, "_criteria", faults)


def _pairs(query: str, where: str, faults: list[Fault]) -> Params:
    try:
        found = parse_qsl(query, keep_blank_values=True, strict_parsing=bool(query), max_num_fields=20, errors="strict")
    except ValueError:
        faults.append(_fault("Write it as a search: <Type>?<name>=<value>&...; at most 20 of them.", where))
        return ()
    return tuple(found)


def _content(channel: Json, faults: list[Fault]) -> str:
    found = [str(one.get("valueCode", "")) for one in _extensions(channel.get("_payload"), uris.BACKPORT_CONTENT)]
    if len(found) == 1 and found[0] in CONTENTS and channel.get("payload"):
        return found[0]
    text = f"A topic needs payload {PAYLOAD} with one backport-payload-content: {', '.join(CONTENTS)}."
    faults.append(_fault(text, "channel.payload"))
    return "empty"


def _headers(channel: Json, faults: list[Fault]) -> Iterator[tuple[str, str]]:
    seen: set[str] = set()
    for place, line in enumerate(channel.get("header", [])):
        name, colon, value = str(line).partition(":")
        where, value = f"channel.header[{place}]", value.strip(" ")
        if not colon or not _NAME.fullmatch(name) or not _VALUE.fullmatch(value):
            faults.append(_fault("Write a header as Name: value, in printable ASCII.", where))
        elif _OURS.fullmatch(name) or name.lower() in seen:
            faults.append(_fault(f"{name} is not taken: it is set by the service or given twice.", where))
        else:
            seen.add(name.lower())
            yield name, value


def masked(resource: Json) -> Json:
    """The Subscription as it is stored: names of its headers, but never their values."""
    channel = resource.get("channel", {})
    if not channel.get("header"):
        return resource
    names = [str(line).partition(":")[0] for line in channel["header"]]
    return {**resource, "channel": {**channel, "header": [f"{name}: {KEPT}" for name in names]}}


def _number(channel: Json, url: str, faults: list[Fault], *, least: int, most: int) -> int:
    found = _extensions(channel, url)
    values = [value for one in found for key, value in one.items() if key in {"valueUnsignedInt", "valuePositiveInt"}]
    if not found:
        return 0
    if len(found) > 1 or len(values) != 1 or not least <= int(values[0]) <= most:
        faults.append(_fault(f"{url.rpartition('/')[2]} is one number from {least} to {most}.", "channel.extension"))
        return 0
    return int(values[0])


def _extensions(holder: Any, url: str) -> list[Mapping[str, Any]]:
    found = holder.get("extension", []) if isinstance(holder, dict) else []
    return [one for one in found if one.get("url") == url]


def _fault(text: str, where: str) -> Fault:
    return Fault("not-supported", text, f"Subscription.{where}")
