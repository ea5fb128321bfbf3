"""References inside a transaction: fullUrls and conditional references become the ids they stand for."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from service.actions.identities import parsed
from service.actions.pending import Pending
from service.actions.ports import House, Work
from service.basics.errors import Fault, Invalid, Refusal, Stale
from service.basics.query import Exact, Query
from service.fhir import search

Json = dict[str, Any]
_CONDITIONAL = re.compile(r"^([A-Z][A-Za-z]+)\?(.+)$", re.DOTALL)
_RESTFUL = re.compile(r"^(https?://.+)/([A-Z][A-Za-z]+/[A-Za-z0-9\-.]{1,64})$")
_LINKS = frozenset({"reference", "url", "uri", "valueUri", "valueUrl", "valueUuid", "valueOid"})


def rewrite(house: House, work: Work, waiting: Sequence[Pending]) -> None:
    """Rewrite the links of every entry in place; raises the faults of all conditional references that miss."""
    targets = {p.entry.full_url: p.reference for p in waiting if p.entry.full_url}
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
        self, house: House, work: Work, waiting: Sequence[Pending], targets: Mapping[str, str], base: str
    ) -> None:
        self.house, self.work, self.waiting, self.targets, self.base = house, work, waiting, targets, base

    def walk(self, value: Any, path: str) -> None:
        if isinstance(value, list):
            for index, item in enumerate(value):
                self.walk(item, f"{path}[{index}]")
        elif isinstance(value, dict):
            for key, item in value.items():
                if isinstance(item, str):
                    if key in _LINKS or key == "div":
                        value[key] = self.link(key, item, f"{path}.{key}")
                elif item is not None:
                    self.walk(item, f"{path}.{key}")

    def link(self, key: str, text: str, path: str) -> str:
        if key == "div":
            return self._narrative(text)
        if text in self.targets:
            return self.targets[text]
        if key != "reference":
            return text
        if self.base and f"{self.base}/{text}" in self.targets:
            return self.targets[f"{self.base}/{text}"]
        match = _CONDITIONAL.match(text)
        return self.conditional(match[1], match[2], path) if match else text

    def _narrative(self, text: str) -> str:
        for full_url, reference in self.targets.items():
            if full_url in text:
                text = re.sub(rf'((?:href|src)=["\']){re.escape(full_url)}(?=["\'])', rf"\g<1>{reference}", text)
        return text

    def conditional(self, type_: str, criteria: str, path: str) -> str:
        if not any(p.entry.place for p in self.waiting):
            text = "A conditional reference works in a transaction only; here give Type/id."
            raise Invalid(Fault("not-supported", text, path))
        query = parsed(self.house, self.work.organization, type_, criteria, where=path)
        hits = {f"{m.type}/{m.id}" for m in self.work.search(query).matches} | self._in_bundle(query)
        if len(hits) == 1:
            return hits.pop()
        reason = "multiple-matches" if hits else "not-found"
        text = (
            f"The conditional reference {type_}?{criteria} matches {len(hits) or 'nothing'}; it must match exactly one."
        )
        raise Stale(Fault(reason, text, path))

    def _in_bundle(self, query: Query) -> set[str]:
        """What this transaction itself is about to write and the store cannot find yet."""
        found = set()
        for one in self.waiting:
            if one.writes and one.resource is not None and one.entry.type == query.type:
                keys = search.keys(self.work.organization, {**one.resource, "id": one.id})
                held = {mark.key for mark in keys.marks}
                exact = [c for c in query.criteria if isinstance(c, Exact)]
                if len(exact) == len(query.criteria) and all(held & set(c.keys) for c in exact):
                    found.add(one.reference)
        return found
