"""References inside a transaction: fullUrls and conditional references become the ids they stand for."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from service.actions.conditions import parsed
from service.actions.pending import Pending
from service.actions.ports import House, Work
from service.basics.entries import Entry
from service.basics.errors import Fault, Invalid, Refusal, Stale
from service.basics.judging import Version, fits_all
from service.basics.query import Query
from service.fhir import search

Json = dict[str, Any]
_CONDITIONAL = re.compile(r"^([A-Z][A-Za-z]+)\?(.+)$", re.DOTALL)
_RESTFUL = re.compile(r"^(https?://.+)/([A-Z][A-Za-z]+/[A-Za-z0-9\-.]{1,64})$")
_VERSIONED = re.compile(r"^(.+)/_history/[A-Za-z0-9\-.]{1,64}$", re.DOTALL)
# every element of type uri, url, oid or uuid in what is stored, but for those that name systems and kinds
_LINKS = frozenset(
    {
        "reference",
        "url",
        "uri",
        "valueUri",
        "valueUrl",
        "valueUuid",
        "valueOid",
        "address",
        "authority",
        "definitionUri",
    }
    | {"endpoint", "instantiatesUri", "issuer", "jurisdiction", "policy", "source"}
)


def rewrite(house: House, work: Work, waiting: Sequence[Pending]) -> None:
    """Rewrite the links of every entry in place; raises the faults of all conditional references that miss."""
    targets = {p.entry.full_url: p for p in waiting if p.entry.full_url}
    faults: list[Refusal] = []
    for one in waiting:
        if one.resource is None or not one.writes:
            continue
        base = _RESTFUL.match(one.entry.full_url)
        walker = _Walker(house, work, waiting, targets, base.group(1) if base else "")
        try:
            walker.walk(one.resource, one.entry.type)
        except Refusal as refusal:
            faults.append(refusal.inside(f"{one.entry.place}.resource") if one.entry.place else refusal)
    if faults:
        raise type(faults[0])(*(f for refusal in faults for f in refusal.faults))


class _Walker:
    def __init__(
        self, house: House, work: Work, waiting: Sequence[Pending], targets: Mapping[str, Pending], base: str
    ) -> None:
        self.house, self.work, self.waiting, self.targets, self.base = house, work, waiting, targets, base

    def walk(self, holder: Json, path: str) -> None:
        for key, value in holder.items():
            if isinstance(value, str) and key not in _LINKS and key != "div":
                continue
            where = f"{path}.{key}"
            if isinstance(value, list):
                for index, item in enumerate(value):
                    value[index] = self._visited(key, item, f"{where}[{index}]")
            else:
                holder[key] = self._visited(key, value, where)

    def _visited(self, key: str, value: Any, path: str) -> Any:
        if isinstance(value, str):
            return self.link(key, value, path) if key in _LINKS or key == "div" else value
        if isinstance(value, dict):
            self.walk(value, path)
        return value

    def link(self, key: str, text: str, path: str) -> str:
        if key == "div":
            return self._narrative(text)
        versioned = _VERSIONED.match(text)
        target = self._target(versioned[1] if versioned else text, relative=key == "reference")
        if target is not None:
            return f"{target.reference}/_history/{target.version}" if versioned else target.reference
        match = _CONDITIONAL.match(text) if key == "reference" else None
        return self.conditional(match[1], match[2], path) if match else text

    def _target(self, link: str, *, relative: bool) -> Pending | None:
        """The entry that a link leads to: by its fullUrl, or by that of the linking entry's own server."""
        if link in self.targets:
            return self.targets[link]
        return self.targets.get(f"{self.base}/{link}") if relative and self.base else None

    def _narrative(self, text: str) -> str:
        for full_url, target in self.targets.items():
            if full_url in text:
                pattern = rf'((?:href|src)=["\']){re.escape(full_url)}(?=["\'])'
                text = re.sub(pattern, rf"\g<1>{target.reference}", text)
        return text

    def conditional(self, type_: str, criteria: str, path: str) -> str:
        if not any(p.entry.place and not p.entry.alone for p in self.waiting):
            text = "A conditional reference works in a transaction only; here give Type/id."
            raise Invalid(Fault("not-supported", text, path))
        query = parsed(self.house, self.work.organization, type_, criteria, where=path)
        hits = self._in_bundle(query)
        mine = {one.reference for one in self.waiting if one.writes or one.deletes}
        hits |= {f"{m.type}/{m.id}" for m in self.work.search(query).matches} - mine
        if len(hits) == 1:
            return hits.pop()
        reason = "multiple-matches" if hits else "not-found"
        count = "more than one resource" if hits else "nothing"
        text = f"The conditional reference {type_}?{criteria} matches {count}; it must match exactly one."
        raise Stale(Fault(reason, text, path))

    def _in_bundle(self, query: Query) -> set[str]:
        """What this transaction itself is about to write and the store cannot find yet, or finds as it was."""
        found = set()
        for one in self.waiting:
            if one.writes and one.resource is not None and one.entry.type == query.type:
                keys = search.keys(self.work.organization, {**one.resource, "id": one.id})
                if fits_all(Version(one.id, 0, keys), query.criteria):
                    found.add(one.reference)
        return found


def independent(entries: Sequence[Entry], index: int) -> None:
    """Raise Invalid when an entry of a batch refers to what another entry of it makes: each stands on its own."""
    entry = entries[index]
    others = {e.full_url for i, e in enumerate(entries) if i != index and e.full_url and e.method == "POST"}
    links = _links(entry.resource) & others if others and entry.resource else set()
    if links:
        text = f"In a batch no entry can refer to another one ({min(links)}); send a transaction."
        raise Invalid(Fault("invalid", text, f"{entry.place}.resource" if entry.place else ""))


def _links(value: Any) -> set[str]:
    if isinstance(value, dict):
        own = {v for k, v in value.items() if k in _LINKS and isinstance(v, str)}
        return own.union(*map(_links, value.values()))
    return set[str]().union(*map(_links, value)) if isinstance(value, list) else set()
