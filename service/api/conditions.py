"""Conditions and wishes in headers: If-Match, If-None-Match, If-Modified-Since, If-None-Exist, Prefer."""

import re
from collections.abc import Mapping
from datetime import datetime
from email.utils import parsedate_to_datetime

from service.api.answers import etag
from service.basics.errors import Fault, Invalid
from service.basics.stored import Stored

_ETAG = re.compile(r'(?:W/)?"([1-9][0-9]{0,8})"')
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?(Z|[+-]\d\d:\d\d)$")
_RETURNS = {"minimal", "representation", "OperationOutcome"}


def if_match(headers: Mapping[str, str]) -> int | None:
    """The version that a change is based on, None without the header; raises Invalid for anything but one ETag."""
    given = headers.get("if-match")
    if given is None:
        return None
    match = _ETAG.fullmatch(given.strip())
    if match is None:
        raise Invalid(Fault("invalid", 'If-Match must be one ETag of ours, such as W/"3".', "If-Match"))
    return int(match.group(1))


def if_none_exist(headers: Mapping[str, str]) -> str | None:
    """The criteria of a conditional create as a query string, None without the header."""
    given = headers.get("if-none-exist")
    if given is None:
        return None
    criteria = given.strip().rpartition("?")[2]
    if not criteria:
        raise Invalid(Fault("invalid", "If-None-Exist must hold search parameters, such as identifier=system|value."))
    return criteria


def unchanged(headers: Mapping[str, str], version: Stored) -> bool:
    """Whether the caller already holds this version. If-None-Match decides alone when it is there (RFC 9110)."""
    known = headers.get("if-none-match")
    if known is not None:
        tags = {tag.strip().removeprefix("W/") for tag in known.split(",")}
        return "*" in tags or etag(version.version).removeprefix("W/") in tags
    given, updated = headers.get("if-modified-since", ""), datetime.fromisoformat(version.updated)
    since = _date(given)
    exact = _INSTANT.match(given) is not None  # as an entry of a Bundle says it; HTTP's own dates have whole seconds
    return since is not None and (updated if exact else updated.replace(microsecond=0)) <= since


def returns(headers: Mapping[str, str]) -> str:
    """What Prefer asks back: minimal, representation or OperationOutcome; "" when it says nothing we know."""
    wish = _prefer(headers).get("return", "")
    return wish if wish in _RETURNS else ""


def strict(headers: Mapping[str, str]) -> bool:
    """Whether an unknown search parameter shall be refused (Prefer: handling=strict)."""
    return _prefer(headers).get("handling") == "strict"


def _prefer(headers: Mapping[str, str]) -> dict[str, str]:
    parts = re.split(r"[,;]", headers.get("prefer", ""))
    return {name.strip().lower(): value.strip().strip('"') for name, _, value in (p.partition("=") for p in parts)}


def _date(text: str) -> datetime | None:
    try:
        if _INSTANT.match(text):
            return datetime.fromisoformat(text)
        return parsedate_to_datetime(text) if text else None
    except ValueError:
        return None
