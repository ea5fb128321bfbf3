"""History of one resource, one type or everything: versions, the newest first, deletions among them."""

import re
from datetime import datetime

from service.api import bundles
from service.api.answers import Answer
from service.api.ask import PAGE, Ask
from service.basics.errors import Fault, Invalid, Missing
from service.basics.query import Span
from service.fhir import exact, moments

_COUNT = 50
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")


def history(ask: Ask) -> Answer:
    """One page of versions. Raises Missing for a resource that never was, Invalid for parameters it can't honour."""
    start, at, count, page = since(ask.once("_since")), _at(ask.once("_at")), _count(ask), ask.once(PAGE)
    with ask.looking() as view:
        found = view.history(ask.type, ask.id, since=start, at=at, count=count, after=page)
        if ask.id and not found.matches and view.get(ask.type, ask.id) is None:
            raise Missing(Fault("not-found", f"There is no {ask.type} with the id {ask.id}."))
    address = "/".join(part for part in (ask.base, ask.type, ask.id, "_history") if part)
    used = [(name, value) for name, value in ask.params if name in {"_since", "_at", "_count"} and value]
    head: dict[str, object] = {"type": "history"} | ({} if found.total is None else {"total": found.total})
    head["link"] = bundles.links(address, used, after=found.after, page=page)
    seen = tuple(sorted({f"{v.type}/{v.id}" for v in found.matches}))
    return Answer(200, bundles.joined(head, [bundles.past(ask.base, v) for v in found.matches]), seen=seen)


def since(text: str) -> str:
    """The instant as the store writes its own: UTC, milliseconds."""
    if not text:
        return ""
    text = text.replace(" ", "+")  # the + of a time zone that was not escaped
    try:
        if _INSTANT.fullmatch(text):
            return exact.instant(datetime.fromisoformat(text))
    except ValueError:
        pass
    raise Invalid(Fault("value", "_since must be an instant, such as 2026-11-25T13:00:00Z.", "_since"))


def _at(text: str) -> Span:
    """The stretch of time that a date of any precision covers; open on both sides without one."""
    if not text:
        return (None, None)
    stretch = moments.of_text(text.replace(" ", "+"))
    if stretch is None:
        raise Invalid(Fault("value", "_at must be a date or an instant, such as 2026-11 or 2026-11-25.", "_at"))
    return stretch


def _count(ask: Ask) -> int:
    text = ask.once("_count")
    if not text:
        return _COUNT
    if not (text.isdecimal() and len(text) < 10 and int(text)):
        raise Invalid(Fault("value", "_count must be a positive whole number.", "_count"))
    return min(int(text), ask.kit.limits.page)
