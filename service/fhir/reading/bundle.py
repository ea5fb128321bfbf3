"""A transaction or batch Bundle into entries, or everything that is wrong with it at once."""

import re
from typing import Any

from service.basics.entries import Entry
from service.basics.errors import Fault, Invalid

Json = dict[str, Any]
_VERSION = re.compile(r'^(?:W/)?"?(\d{1,9})"?$')
_URL = re.compile(r"^(?P<type>[A-Za-z]+)(?:/(?P<id>[A-Za-z0-9\-.]{1,64}))?(?:\?(?P<criteria>.*))?$")
METHODS = ("GET", "POST", "PUT", "DELETE")


def entries(bundle: Json) -> tuple[Entry, ...]:
    """The entries in the Bundle's order; raises Invalid with the faults of all of them."""
    faults: list[Fault] = []
    found = [_entry(one, f"Bundle.entry[{i}]", faults) for i, one in enumerate(bundle.get("entry", []))]
    urls = [e.full_url for e in found if e and e.full_url]
    for url in sorted({u for u in urls if urls.count(u) > 1}):
        faults.append(Fault("invariant", f"fullUrl {url} is used by more than one entry.", "Bundle.entry.fullUrl"))
    if faults:
        raise Invalid(*faults)
    return tuple(e for e in found if e)


def version(text: str) -> int | None:
    """The version number of an ETag: W/"3", "3" or 3; None when it is not one."""
    match = _VERSION.match(text.strip())
    return int(match.group(1)) if match else None


def _entry(one: Json, place: str, faults: list[Fault]) -> Entry | None:
    request = one.get("request")
    if not isinstance(request, dict):
        faults.append(Fault("required", "Each entry needs request.method and request.url.", f"{place}.request"))
        return None
    method, url = str(request.get("method", "")), str(request.get("url", ""))
    match = _URL.match(url)
    problem = _problem(method, url, match, one)
    if problem or match is None:
        faults.append(Fault("invalid", problem, f"{place}.request"))
        return None
    return Entry(
        method=method,
        type=match["type"],
        id=match["id"] or "",
        criteria=match["criteria"] or "",
        resource=one.get("resource"),
        full_url=str(one.get("fullUrl", "")),
        if_none_exist=request.get("ifNoneExist"),
        if_match=_if_match(request, place, faults),
        if_none_match=str(request.get("ifNoneMatch", "")),
        place=place,
    )


def _problem(method: str, url: str, match: re.Match[str] | None, one: Json) -> str:
    if method not in METHODS:
        return f"Method {method or '(none)'} is not taken in a Bundle; it can be {', '.join(METHODS)}."
    if match is None:
        hint = (
            "operations are called on their own, outside a Bundle"
            if "$" in url
            else "it must be relative: Type, Type/id or Type?criteria"
        )
        return f"The url {url!r} is not taken: {hint}."
    if method in {"POST", "PUT"} and not isinstance(one.get("resource"), dict):
        return f"{method} needs a resource."
    if method == "POST" and (match["id"] or match["criteria"]):
        return "POST goes to the type alone."
    if method == "PUT" and not (match["id"] or match["criteria"]):
        return "PUT needs Type/id or Type?criteria."
    if method in {"GET", "DELETE"} and not match["id"]:
        return f"{method} in a Bundle needs Type/id."
    return ""


def _if_match(request: Json, place: str, faults: list[Fault]) -> int | None:
    if "ifMatch" not in request:
        return None
    number = version(str(request["ifMatch"]))
    if number is None:
        faults.append(Fault("invalid", 'ifMatch must be an ETag such as W/"3".', f"{place}.request.ifMatch"))
    return number
