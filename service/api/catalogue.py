"""What the service defines, read and searched like any other type: the catalogue, the profiles, and what is offered."""

from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from hashlib import sha256

from service.actions.definitions import definitions
from service.api import bundles, capability, conditions
from service.api import search as searching
from service.api.answers import Answer, Header
from service.api.ask import Ask
from service.api.types import SERVED
from service.basics.errors import Fault, Missing
from service.basics.stored import Stored
from service.fhir import exact
from service.fhir.partial import part
from service.fhir.search import definitions as parameters
from service.fhir.search import published
from service.fhir.writing.conformance import search_parameter

Parameters = Callable[[str], Sequence[tuple[str, str, str]]]


def read(ask: Ask) -> Answer:
    """One definition by its id, with an ETag that changes when it does; 304 when the caller holds it."""
    found = next((one for one in _every(ask) if one["id"] == ask.id), None)
    if found is None:
        raise Missing(Fault("not-found", f"There is no {ask.type} with the id {ask.id}."))
    params = [(name, value) for name in ("_summary", "_elements") if (value := ask.once(name))]
    asked = published.parse(ask.type, params)
    text = _part(found, asked)
    tag = f'W/"{sha256(text).hexdigest()[:16]}"'
    headers: tuple[Header, ...] = ((b"etag", tag.encode()),)
    seen = (f"{ask.type}/{ask.id}",)
    if tag in {known.strip() for known in ask.headers.get("if-none-match", "").split(",")}:
        return Answer(304, headers=headers, seen=seen)
    return Answer(200, text, headers, seen=seen)


def search(ask: Ask) -> Answer:
    """One page of definitions in the order of their ids; raises Invalid for what isn't understood and not ignored."""
    params, page = searching.parameters(ask)
    asked = published.parse(ask.type, params, strict=conditions.strict(ask.headers))
    versions = [value for name, value in params if name == "version"]
    wanted = sorted((one for one in _every(ask, versions) if asked.holds(one)), key=lambda one: str(one["id"]))
    count = 0 if asked.only_counted else min(asked.count, ask.kit.limits.page)
    rest = [one for one in wanted if str(one["id"]) > page]
    shown = [Stored(ask.type, str(one["id"]), 1, "", _part(one, asked)) for one in rest[:count]]
    after = shown[-1].id if shown and len(rest) > count else ""
    head: dict[str, object] = {"type": "searchset"}
    if asked.total or asked.only_counted:
        head["total"] = len(wanted)
    head["link"] = bundles.links(f"{ask.base}/{ask.type}", asked.used, after=after, page=page)
    entries = [bundles.match(ask.base, one) for one in shown] + searching.warnings(asked.ignored)
    return Answer(200, bundles.joined(head, entries), seen=tuple(f"{one.type}/{one.id}" for one in shown))


def _part(definition: capability.Json, asked: published.Published) -> bytes:
    return part(exact.encode(definition), summary=asked.summary, wanted=asked.elements)


def _every(ask: Ask, versions: Sequence[str] = ()) -> Iterator[capability.Json]:
    if ask.type == "CapabilityStatement":
        yield capability.statement(ask.base, version=ask.kit.version, parameters=ask.kit.parameters)
    elif ask.type == "SearchParameter":
        for one in parameters.offered(_urls(ask.kit.parameters)):
            yield search_parameter(one, version=ask.kit.version)
    else:
        yield from definitions(ask.kit.house, ask.caller, ask.type, versions=versions)


@lru_cache(maxsize=4)
def _urls(offered: Parameters) -> frozenset[str]:
    return frozenset(url for type_ in SERVED for _, _, url in offered(type_))
