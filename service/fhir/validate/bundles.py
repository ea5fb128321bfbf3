"""A Bundle -> what its type forbids (bdl-1 to bdl-12); its resources have their own check."""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from service.basics.errors import Fault

_REQUESTS = frozenset({"batch", "transaction", "history"})
_RESPONSES = frozenset({"batch-response", "transaction-response", "history"})


def broken(bundle: dict[str, Any]) -> Iterator[Fault]:
    """Every rule of Bundle that is broken."""
    kind = str(bundle.get("type"))
    if "total" in bundle and kind not in ("searchset", "history"):
        yield Fault("invariant", "bdl-1: only a searchset or history has a total", "Bundle.total")
    given = bundle.get("entry")
    entries = [entry for entry in given if isinstance(entry, dict)] if isinstance(given, list) else []
    for at, entry in enumerate(entries):
        yield from _entry(entry, f"Bundle.entry[{at}]", kind=kind)
    if kind != "history":
        yield from _repeated(entries)
    if kind == "document":
        yield from _document(bundle, entries)
    if kind == "message" and _type(entries) != "MessageHeader":
        yield Fault("invariant", "bdl-12: a message begins with a MessageHeader", "Bundle.entry")


def _entry(entry: dict[str, Any], place: str, *, kind: str) -> Iterator[Fault]:
    if "search" in entry and kind != "searchset":
        yield Fault("invariant", "bdl-2: only an entry of a searchset has a search", f"{place}.search")
    if ("request" in entry) != (kind in _REQUESTS):
        text = "bdl-3: an entry has a request in a batch, transaction or history, and only there"
        yield Fault("invariant", text, f"{place}.request")
    if ("response" in entry) != (kind in _RESPONSES):
        text = "bdl-4: an entry has a response in a batch-response, transaction-response or history, and only there"
        yield Fault("invariant", text, f"{place}.response")
    if "/_history/" in str(entry.get("fullUrl", "")):
        yield Fault("invariant", "bdl-8: fullUrl names no version", f"{place}.fullUrl")


def _repeated(entries: list[dict[str, Any]]) -> Iterator[Fault]:
    named = [(entry["fullUrl"], _version(entry)) for entry in entries if isinstance(entry.get("fullUrl"), str)]
    if any(times > 1 for times in Counter(named).values()):
        yield Fault("invariant", "bdl-7: a fullUrl comes more than once", "Bundle.entry")


def _version(entry: dict[str, Any]) -> str:
    resource = entry.get("resource")
    meta = resource.get("meta") if isinstance(resource, dict) else None
    return str(meta.get("versionId", "")) if isinstance(meta, dict) else ""


def _document(bundle: dict[str, Any], entries: list[dict[str, Any]]) -> Iterator[Fault]:
    identifier = bundle.get("identifier")
    if not isinstance(identifier, dict) or not {"system", "value"} <= set(identifier):
        yield Fault("invariant", "bdl-9: a document has an identifier with system and value", "Bundle.identifier")
    if "timestamp" not in bundle:
        yield Fault("invariant", "bdl-10: a document has a timestamp", "Bundle.timestamp")
    if _type(entries) != "Composition":
        yield Fault("invariant", "bdl-11: a document begins with a Composition", "Bundle.entry")


def _type(entries: list[dict[str, Any]]) -> Any:
    resource = entries[0].get("resource") if entries else None
    return resource.get("resourceType") if isinstance(resource, dict) else None
