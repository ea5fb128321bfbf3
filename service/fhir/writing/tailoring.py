"""A resource as one destination wants it: fewer forms of the report, instants in the zone of its people."""

from collections.abc import Collection
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

Json = dict[str, Any]
MOMENTS = frozenset({
    *("issued", "date", "start", "end", "recorded", "authoredOn", "lastModified", "enteredDate", "creation", "created"),
    *("sent", "received", "timestamp", "started", "receivedTime", "lastUpdated", "time", "written"),
    *("effectiveDateTime", "performedDateTime", "occurrenceDateTime", "onsetDateTime", "valueDateTime"),
    *("collectedDateTime", "createdDateTime", "valueInstant", "effectiveInstant"),
})  # fmt: skip
"""Elements that hold an instant or a dateTime; text that only looks like one is nobody's to change."""


def tailored(resource: Json, *, formats: Collection[str], zone: str) -> Json:
    """The resource with only those presented forms, and each instant in UTC told by the zone's clock: the same instant.

    What was written with another offset stays as it is; digits of a second stay."""
    forms = resource.get("presentedForm")
    if forms is not None:
        kept = [one for one in forms if str(one.get("contentType", "")).partition(";")[0] in formats]
        rest = {key: value for key, value in resource.items() if key != "presentedForm"}
        resource = {**rest, "presentedForm": kept} if kept else rest
    return _zoned(resource, ZoneInfo(zone)) if zone else resource


def _zoned(value: Any, zone: ZoneInfo) -> Any:
    if isinstance(value, list):
        return [_zoned(one, zone) for one in value]
    if not isinstance(value, dict):
        return value
    return {key: _moment(one, zone) if key in MOMENTS else _zoned(one, zone) for key, one in value.items()}


def _moment(value: Any, zone: ZoneInfo) -> Any:
    if not isinstance(value, str):
        return _zoned(value, zone)
    if not value.endswith("Z") or "T" not in value:
        return value
    whole, dot, digits = value[:-1].partition(".")
    try:
        local = datetime.fromisoformat(f"{whole}+00:00").astimezone(zone)
    except (ValueError, OverflowError):
        return value
    clock, offset = local.isoformat()[:19], local.strftime("%z")
    return f"{clock}{dot}{digits}{offset[:3]}:{offset[3:5]}"
