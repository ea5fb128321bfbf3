"""An entry of a Bundle into what it would be as a request of its own: its offer, and for a read its answer."""

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from typing import Any
from urllib.parse import unquote

from service.actions.ports import View
from service.api import rules
from service.api.answers import Answer
from service.api.ask import Ask, content, pairs
from service.api.offers import PLACES, Offer
from service.basics.entries import Entry, Result
from service.basics.errors import Fault, Missing, NotAllowed

Answerer = Callable[[Offer, str], Callable[[Ask], Answer]]
Path = dict[str, str]


def offered(ask: Ask, entry: Entry) -> tuple[Offer, Path]:
    """The offer of an entry and what its address names; raises Missing, NotAllowed or NotPermitted."""
    template, path = _routed(entry)
    type_ = path.get("type", "")
    method = "GET" if entry.method == "HEAD" else entry.method
    offer = rules.offered(PLACES[template], method, type_=type_, id_=path.get("id", ""))
    if offer.operation or offer.code in {"transaction", "capabilities"}:
        raise NotAllowed(Fault("not-supported", "This is called on its own, outside a Bundle."))
    if type_ == "AuditEvent":
        raise NotAllowed(Fault("not-supported", "AuditEvent is read at its own address, not in a Bundle."))
    rules.permitted(offer, ask.caller, type_)
    return offer, path


def looker(ask: Ask, answerer: Answerer) -> Callable[[View, Entry], Result]:
    """What answers a read inside a transaction, from the transaction's own view."""
    return lambda view, entry: told(replace(ask, kit=_through(ask, view)), entry, answerer)


def told(ask: Ask, entry: Entry, answerer: Answerer) -> Result:
    """The answer to a read; raises what it would raise alone."""
    offer, path = offered(ask, entry)
    query = entry.url.partition("?")[2]
    conditions = {"if-none-match": entry.if_none_match, "if-modified-since": entry.if_modified_since}
    headers = {name: value for name, value in conditions.items() if value}
    headers |= {"prefer": ask.headers["prefer"]} if "prefer" in ask.headers else {}
    type_, id_, version = (path.get(name, "") for name in ("type", "id", "version"))
    params = content(pairs(query)) if query else []
    alone = Ask(ask.kit, ask.caller, offer.code, type_, id_, version, params, headers)
    answer = answerer(offer, type_)(alone)
    return Result(answer.status, told=answer, seen=answer.seen)


def _routed(entry: Entry) -> tuple[str, Path]:
    if not entry.reads:
        return ("/{type}/{id}", {"type": entry.type, "id": entry.id}) if entry.id else ("/{type}", {"type": entry.type})
    parts = [unquote(part) for part in entry.url.partition("?")[0].split("/") if part]
    for template in sorted(PLACES, key=lambda one: [part.startswith("{") for part in one.split("/")]):
        path = _fitting(template.split("/")[1:], parts)
        if path is not None:
            return template, path
    raise Missing(Fault("not-found", "There is nothing at this address."))


def _fitting(template: list[str], parts: list[str]) -> Path | None:
    if len(template) != len(parts):
        return None
    path: Path = {}
    for wanted, part in zip(template, parts, strict=True):
        if wanted.startswith("{"):
            path[wanted.strip("{}")] = part
        elif wanted != part:
            return None
    return path


class _Books:
    """The store as it is seen from inside an open transaction."""

    def __init__(self, view: View, books: Any) -> None:
        self._view, self._books = view, books

    def view(self, organization: str) -> AbstractContextManager[View]:
        """The transaction's own view, which is of this organisation alone."""
        return nullcontext(self._view)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._books, name)


def _through(ask: Ask, view: View) -> Any:
    books: Any = _Books(view, ask.kit.books)
    return replace(ask.kit, books=books, house=replace(ask.kit.house, books=books))
