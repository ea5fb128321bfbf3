"""A transaction or batch Bundle into entries, or everything that is wrong with it at once."""

import base64
import binascii
import re
from collections.abc import Iterator
from typing import Any

from service.basics.entries import Entry
from service.basics.errors import Fault, Invalid, Refusal
from service.fhir import exact, patching

Json = dict[str, Any]
_VERSION = re.compile(r'^(?:W/)?"?(\d{1,9})"?$')
_URL = re.compile(r"^(?P<type>[A-Za-z]+)(?:/(?P<id>[A-Za-z0-9\-.]{1,64}))?(?:\?(?P<criteria>.*))?$", re.DOTALL)
_READ = re.compile(
    r"^(?P<type>[A-Za-z]*)(?:/(?P<id>[A-Za-z0-9\-.]{1,64})(?=[/?]|$))?[^?$]*(?:\?(?P<criteria>.*))?$", re.DOTALL
)
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")
_CONDITIONS = {  # each with the methods it belongs to; elsewhere it would be a condition that nobody looks at
    "ifNoneExist": frozenset({"POST"}),
    "ifMatch": frozenset({"PUT", "PATCH", "DELETE"}),
    "ifNoneMatch": frozenset({"GET", "HEAD", "PUT"}),
    "ifModifiedSince": frozenset({"GET", "HEAD"}),
}


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
    method, url = str(request.get("method", "")), str(request.get("url", "")).removeprefix("/")
    reads = method in {"GET", "HEAD"}
    match = (_READ if reads else _URL).match(url)
    problems = [*_problems(method, url, match, one), *_misplaced(method, request)]
    if problems or match is None:
        faults += [Fault("invalid", problem, f"{place}.request") for problem in problems]
        return None
    return Entry(
        method=method,
        type=match["type"],
        id=match["id"] or "",
        criteria=match["criteria"] or "",
        resource=None if method in {"PATCH", "DELETE"} or reads else one.get("resource"),
        full_url=str(one.get("fullUrl", "")),
        if_none_exist=request.get("ifNoneExist"),
        if_match=_if_match(request, place, faults),
        if_none_match=str(request.get("ifNoneMatch", "")),
        if_modified_since=str(request.get("ifModifiedSince", "")),
        patch=_patch(one, place, faults) if method == "PATCH" else (),
        url=url if reads else "",
        place=place,
    )


def _problems(method: str, url: str, match: re.Match[str] | None, one: Json) -> Iterator[str]:
    if method not in METHODS:
        yield f"Method {method or '(none)'} is not taken in a Bundle; it can be {', '.join(METHODS)}."
    elif match is None:
        hint = (
            "operations are called on their own, outside a Bundle"
            if "$" in url
            else "it must be relative: Type, Type/id or Type?criteria"
        )
        yield f"The url {url!r} is not taken: {hint}."
    else:
        yield from _unfit(method, match, one)


def _unfit(method: str, match: re.Match[str], one: Json) -> Iterator[str]:
    if method in {"POST", "PUT", "PATCH"} and not isinstance(one.get("resource"), dict):
        yield f"{method} needs a resource."
    if method in {"DELETE", "GET", "HEAD"} and "resource" in one:
        yield f"{method} takes no resource."
    if method == "POST" and (match["id"] or match["criteria"]):
        yield "POST goes to the type alone."
    if method in {"PUT", "PATCH", "DELETE"} and bool(match["id"]) == bool(match["criteria"]):
        yield f"{method} needs Type/id or Type?criteria."


def _misplaced(method: str, request: Json) -> Iterator[str]:
    for name, methods in _CONDITIONS.items():
        if name in request and method not in methods:
            yield f"{name} does not belong to {method}; it belongs to {', '.join(sorted(methods))}."


def _if_match(request: Json, place: str, faults: list[Fault]) -> int | None:
    if "ifMatch" not in request:
        return None
    number = version(str(request["ifMatch"]))
    if number is None:
        faults.append(Fault("invalid", 'ifMatch must be an ETag such as W/"3".', f"{place}.request.ifMatch"))
    return number


def _patch(one: Json, place: str, faults: list[Fault]) -> tuple[Json, ...]:
    """The operations that a Binary holds, as R4 has them in a Bundle."""
    binary, where = one.get("resource"), f"{place}.resource"
    if not isinstance(binary, dict):
        return ()
    kind = str(binary.get("contentType", "")).partition(";")[0].strip()
    if binary.get("resourceType") != "Binary" or kind != patching.MEDIA:
        text = f"A PATCH in a Bundle is a Binary with contentType {patching.MEDIA} and the patch in data."
        faults.append(Fault("not-supported", text, where))
        return ()
    try:
        return tuple(patching.operations(exact.decode(base64.b64decode(str(binary.get("data", "")), validate=True))))
    except (binascii.Error, ValueError):
        faults.append(Fault("invalid", "data is not base64.", f"{where}.data"))
    except Refusal as refusal:
        faults += [fault.inside(f"{where}.data") for fault in refusal.faults]
    return ()
