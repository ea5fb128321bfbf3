"""The same request again: told by its fingerprint, answered with the first result."""

import hashlib
from collections.abc import Sequence
from typing import Any

from service.actions.pending import Pending
from service.actions.ports import Work
from service.basics.entries import Entry, Result
from service.basics.errors import Conflict, Fault
from service.fhir import exact
from service.fhir.reading.order import identifier

Json = dict[str, Any]


def fingerprint(content: Any, names: Sequence[str] = ()) -> str:
    """SHA-256 over the content without the order of object members; `names` (fullUrls) count by their place only."""
    text = exact.encode(_sorted(content)).decode()
    for name in sorted(names, key=len, reverse=True):  # the longest first: one may begin another
        text = text.replace(name, f"#{names.index(name)}")
    return hashlib.sha256(text.encode()).hexdigest()


def of_entries(entries: Sequence[Entry]) -> str:
    """The fingerprint of a whole transaction or of a single create; "" where no order is placed: none is remembered."""
    if not any(e.type == "ServiceRequest" and e.method == "POST" for e in entries):
        return ""
    content = [[e.method, e.type, e.id, e.criteria, e.resource] for e in entries]
    return fingerprint(content, [e.full_url or f"none-{i}" for i, e in enumerate(entries)])


def earlier(work: Work, waiting: Sequence[Pending], print_: str) -> list[Result] | None:
    """The first result of this very order, if it was taken before; raises Conflict if its number had other content."""
    for one in sorted(_orders(waiting), key=_placer):
        holder = work.claim("ServiceRequest", f"identifier={_placer(one)}", one.id)
        if holder in (None, one.id):
            continue
        receipt = work.receipt(f"order:{holder}")
        if receipt and receipt[0] == print_:
            return _again(work, receipt[1])
        if one.entry.if_none_exist is None:
            text = f"This placer number is that of ServiceRequest/{holder}, with other content; changes come by PUT."
            raise Conflict(Fault("duplicate", text, f"{one.entry.place}.resource.identifier".lstrip(".")))
    return None


def remember(work: Work, waiting: Sequence[Pending], print_: str, results: Sequence[Result]) -> None:
    """Keep the result of a request that placed orders."""
    answer = [[r.stored.type, r.stored.id] if r.stored else None for r in results]
    for one in _orders(waiting):
        if one.writes:
            work.save_receipt(f"order:{one.id}", print_, exact.encode(answer))


def _orders(waiting: Sequence[Pending]) -> list[Pending]:
    return [p for p in waiting if p.entry.type == "ServiceRequest" and p.entry.method == "POST" and _placer(p)]


def _placer(one: Pending) -> str:
    found = identifier(one.resource or {}, "PLAC")
    return f"{found.system}|{found.value}" if found else ""


def _again(work: Work, answer: bytes) -> list[Result]:
    keys = [tuple(k) if k else None for k in exact.decode(answer)]
    stored = work.get_many(k for k in keys if k)
    return [Result(200, stored.get(k) if k else None) for k in keys]


def _sorted(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _sorted(value[k]) for k in sorted(value)}
    return [_sorted(v) for v in value] if isinstance(value, list) else value
