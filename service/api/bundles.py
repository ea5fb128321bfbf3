"""Stored versions into Bundle text: their own bytes, joined and never decoded."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import quote, urlencode

from service.api.answers import Answer, etag
from service.basics.stored import Stored
from service.fhir import exact

Json = dict[str, Any]


def joined(head: Mapping[str, Any], entries: Sequence[bytes]) -> bytes:
    """A Bundle of these elements and these finished entries."""
    text = exact.encode({"resourceType": "Bundle", **head})
    return text[:-1] + b',"entry":[' + b",".join(entries) + b"]}" if entries else text


def entry(base: str, version: Stored | None, **rest: Json) -> bytes:
    """One finished entry: fullUrl, the version's own bytes (none when it is a deletion) and the elements of `rest`."""
    if version is None:
        return exact.encode(rest)
    text = b'{"fullUrl":' + exact.encode(f"{base}/{version.type}/{version.id}")
    if not version.deleted:
        text += b',"resource":' + version.body
    return text + b"," + exact.encode(rest)[1:]


def told(answer: Answer, response: Json, *, head: bool) -> bytes:
    """The entry of a read: the body as it was answered (none to HEAD), with its ETag and date in the response."""
    headers = dict(answer.headers)
    if b"etag" in headers:
        response = response | {"etag": headers[b"etag"].decode()}
    body = b"" if head else answer.body
    return (b'{"resource":' + body + b"," if body else b"{") + exact.encode({"response": response})[1:]


def match(base: str, version: Stored) -> bytes:
    """The entry of one match of a search."""
    return entry(base, version, search={"mode": "match"})


def past(base: str, version: Stored) -> bytes:
    """The entry of one version in a history."""
    url = version.type if version.method == "POST" else f"{version.type}/{version.id}"
    status = {"POST": "201 Created", "DELETE": "204 No Content"}.get(version.method, "200 OK")
    response = {"status": status, "etag": etag(version.version), "lastModified": version.updated}
    return entry(base, version, request={"method": version.method, "url": url}, response=response)


def links(address: str, used: Iterable[tuple[str, str]], *, after: str, page: str = "") -> list[Json]:
    """self, first and next of a page; `page` is where this page begins, `after` where it ends ("" at the last one)."""
    plain = list(used)
    found = [
        {"relation": "self", "url": _url(address, plain, page)},
        {"relation": "first", "url": _url(address, plain)},
    ]
    return found + ([{"relation": "next", "url": _url(address, plain, after)}] if after else [])


def _url(address: str, used: list[tuple[str, str]], page: str = "") -> str:
    query = urlencode(used + ([("_page", page)] if page else []), quote_via=quote, safe=":,/$")
    return f"{address}?{query}" if query else address
