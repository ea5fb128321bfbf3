"""FHIR's primitive types as JSON Schema: their patterns with calendar dates and 32-bit ranges built in."""

from typing import Any

_YEAR = "(?:[0-9](?:[0-9](?:[0-9][1-9]|[1-9]0)|[1-9]00)|[1-9]000)"
_LEAP = "(?:[0-9]{2}(?:0[48]|[2468][048]|[13579][26])|(?:[02468][48]|[13579][26]|[2468]0)00)"
_DAY = "(?:(?:0[1-9]|1[0-2])-(?:0[1-9]|1[0-9]|2[0-8])|(?:0[13-9]|1[0-2])-(?:29|30)|(?:0[13578]|1[02])-31)"
_FULL = f"(?:{_YEAR}-{_DAY}|{_LEAP}-02-29)"
_TIME = r"(?:[01][0-9]|2[0-3]):[0-5][0-9]:(?:[0-5][0-9]|60)(?:\.[0-9]+)?"
_ZONE = r"(?:Z|[+-](?:(?:0[0-9]|1[0-3]):[0-5][0-9]|14:00))"
_PARTIAL = f"{_YEAR}(?:-(?:0[1-9]|1[0-2]))?"


def _text(pattern: str = "", **more: Any) -> dict[str, Any]:
    found: dict[str, Any] = {"type": "string", **more}
    return found | ({"pattern": f"^(?:{pattern})$"} if pattern else {"minLength": 1})


def _whole(low: int) -> dict[str, Any]:
    return {"type": "integer", "minimum": low, "maximum": 2_147_483_647}


# White space as R4's own patterns mean it: a no-break space is a character like others.
_SPACE, _BLACK = r"[ \t\n\x0b\f\r]", r"[^ \t\n\x0b\f\r]"
_URI = _text(f"{_BLACK}+")

PRIMITIVES: dict[str, dict[str, Any]] = {
    "boolean": {"type": "boolean"},
    "integer": _whole(-2_147_483_648),
    "positiveInt": _whole(1),
    "unsignedInt": _whole(0),
    "decimal": {"type": "number"},
    "string": _text(maxLength=1_048_576),
    "markdown": _text(maxLength=1_048_576),
    "xhtml": _text(),
    "code": _text(f"{_BLACK}+(?:{_SPACE}{_BLACK}+)*"),
    "id": _text(r"[A-Za-z0-9\-.]{1,64}"),
    "uri": _URI,
    "url": _URI,
    "canonical": _URI,
    "oid": _text(r"urn:oid:[0-2](?:\.(?:0|[1-9][0-9]*))+"),
    "uuid": _text("urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}"),
    "date": _text(f"{_PARTIAL}|{_FULL}"),
    "dateTime": _text(f"{_PARTIAL}|{_FULL}(?:T{_TIME}{_ZONE})?"),
    "instant": _text(f"{_FULL}T{_TIME}{_ZONE}"),
    "time": _text(_TIME),
    "base64Binary": _text(r"(?:\s*[0-9A-Za-z+/=]){4}(?:(?:\s*[0-9A-Za-z+/=]){4})*\s*"),
}

WORDS: dict[str, str] = {
    "boolean": "true or false without quotes",
    "integer": "a whole number of 32 bits",
    "positiveInt": "a whole number from 1 to 2147483647",
    "unsignedInt": "a whole number from 0 to 2147483647",
    "decimal": "a number without quotes",
    "string": "text that is not empty, at most 1048576 characters",
    "markdown": "text that is not empty, at most 1048576 characters",
    "xhtml": "XHTML text that is not empty",
    "code": "a code: no space at either end and no two in a row",
    "id": "an id: 1 to 64 of the letters A-Z, a-z, digits, - and .",
    "uri": "a URI without spaces",
    "url": "a URL without spaces",
    "canonical": "a canonical URL without spaces",
    "oid": "an OID such as urn:oid:1.2.840",
    "uuid": "a UUID such as urn:uuid:019aba7e-9f5c-7000-8000-000000000000, in small letters",
    "date": "a calendar date: YYYY, YYYY-MM or YYYY-MM-DD",
    "dateTime": "a date, or a date with time (seconds) and time zone: 2026-11-25T13:04:29Z",
    "instant": "a date with time (seconds) and time zone: 2026-11-25T13:04:29.123Z",
    "time": "a time of day: hh:mm:ss",
    "base64Binary": "base64 text",
    "_mime": "a mime type such as image/png",
}
