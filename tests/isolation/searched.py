"""The CapabilityStatement -> a case for every search parameter, modifier, chain, include and order."""

from collections.abc import Iterator
from itertools import islice
from typing import Any

from service.fhir import exact
from service.fhir.search.elements import at
from service.fhir.search.table import Row, rows
from tests.isolation.cases import Case, search
from tests.isolation.world import House

Json = dict[str, Any]
MODIFIERS = {
    "token": ("not", "text", "of-type", "missing"),
    "string": ("exact", "contains", "missing"),
    "uri": ("above", "below", "missing"),
    "reference": ("identifier", "missing"),
}
PREFIXES = ("eq", "ne", "gt", "lt", "ge", "le", "sa", "eb", "ap")
PREFIXED = ("date", "number", "quantity")
_SHARED = ("_id", "_lastUpdated")


class Searched:
    """Asks one house's questions about another's things. most: values of each parameter."""

    def __init__(self, statement: Json, about: House, *, most: int) -> None:
        self.types = {one["type"]: one for one in statement["rest"][0]["resource"]}
        self.about, self.most = about, most

    def cases(self) -> Iterator[Case]:
        """Those of every type."""
        for type_, one in self.types.items():
            for parameter in one.get("searchParam", []):
                yield from self._of(type_, parameter["name"], parameter["type"])
            yield from self._along(type_, one)
            yield from self._presented(type_)

    def values(self, type_: str, name: str, kind: str) -> list[str]:
        """What finds something where it is kept: what the other's resources have there, else what nothing has."""
        found = list(dict.fromkeys(self._read(type_, name)))
        return found[: self.most] or [OTHERWISE.get(kind, self.about.canaries.letter)]

    def _read(self, type_: str, name: str) -> Iterator[str]:
        for resource in self.about.resources.get(type_, []):
            if name in _SHARED:
                yield resource["id"] if name == "_id" else resource["meta"]["lastUpdated"]
                continue
            row = rows().get(type_, {}).get(name)
            if row is not None:
                yield from _spelt(type_, row, resource)

    def _of(self, type_: str, name: str, kind: str) -> Iterator[Case]:
        covers = (f"{type_}?{name}",)
        for value in self.values(type_, name, kind):
            yield search(type_, (name, value), covers=covers)
            if kind in PREFIXED:
                yield from (search(type_, (name, f"{p}{value.removeprefix('eq')}"), covers=covers) for p in PREFIXES)
            for modifier in MODIFIERS.get(kind, ("missing",)):
                said = "false" if modifier == "missing" else value
                yield search(type_, (f"{name}:{modifier}", said), covers=covers)
            if kind == "reference":
                yield from self._chained(type_, name, value)
        for order in (name, f"-{name}"):
            yield search(type_, ("_sort", order), ("_count", "3"), covers=(f"{type_}?_sort={name}",))

    def _chained(self, type_: str, name: str, value: str) -> Iterator[Case]:
        target, _, id_ = value.partition("/")
        covers = (f"{type_}?{name}.",)
        if target not in self.types:
            return
        yield search(type_, (f"{name}:{target}", id_), covers=covers)
        yield search(type_, (f"{name}:{target}._id", id_), covers=covers)
        for inner in ("identifier", "name", "status", "code"):
            for said in islice(self._read(target, inner), 1):
                yield search(type_, (f"{name}:{target}.{inner}", said), covers=covers)
        for inner in ("status", "code", "identifier", "_id"):
            for said in islice(self._read(type_, inner), 1):
                yield search(target, (f"_has:{type_}:{name}:{inner}", said), covers=(f"{target}?_has",))

    def _along(self, type_: str, one: Json) -> Iterator[Case]:
        ids = ",".join(each["id"] for each in self.about.resources.get(type_, []))[:500] or "none"
        for word, wishes in (("_include", "searchInclude"), ("_revinclude", "searchRevInclude")):
            for wish in one.get(wishes, []):
                covers = (f"{type_}?{word}={wish}",)
                yield search(type_, ("_id", ids), (word, wish), covers=covers)
                yield search(type_, (word, wish), (f"{word}:iterate", wish), ("_count", "100"), covers=covers)

    def _presented(self, type_: str) -> Iterator[Case]:
        for name, value in PRESENTED:
            yield search(type_, (name, value), ("_count", "5"), covers=(f"{type_}?{name}",))
        yield search(type_, ("_filter", "id eq x"), ("_id", "x"))


def _spelt(type_: str, row: Row, resource: Json) -> Iterator[str]:
    """The ways to ask for what a resource has at a parameter."""
    if row.pairs:
        yield from _pairs(type_, row, resource)
        return
    for part in row.union or (row.code,):
        for leaf, value in at(resource, rows()[type_][part].paths):
            yield from (_escaped(one) for one in _texts(leaf, value) if one)


def _pairs(type_: str, row: Row, resource: Json) -> Iterator[str]:
    for holder, code, value in row.pairs:
        for one in [resource] if not holder else resource.get(holder, []):
            own = {**one, "resourceType": type_}
            if holder:
                own = {**resource, holder: [one]}
            for first in islice(_spelt(type_, rows()[type_][code], own), 1):
                yield from (f"{first}${second}" for second in _spelt(type_, rows()[type_][value], own))


def _texts(leaf: str, value: Any) -> list[str]:
    if not isinstance(value, dict):
        return [str(value).lower() if isinstance(value, bool) else str(value)]
    match leaf:
        case "CodeableConcept":
            return [text for one in value.get("coding", []) for text in _texts("Coding", one)] + [value.get("text", "")]
        case "Coding":
            return [f"{value.get('system', '')}|{value.get('code', '')}", str(value.get("code", ""))]
        case "Identifier":
            return [f"{value.get('system', '')}|{value.get('value', '')}", str(value.get("value", ""))]
        case "ContactPoint":
            return [str(value.get("value", ""))]
        case "Reference":
            return [str(value.get("reference", ""))]
        case "Period":
            return [str(value.get("start", value.get("end", "")))]
        case "HumanName" | "Address":
            return [str(one) for part in value.values() for one in (part if isinstance(part, list) else [part])][:3]
        case "Range":
            return [str(value.get("low", {}).get("value", ""))]
        case _:
            return [str(value["value"])] if "value" in value else [exact.encode(value).decode()[:60]]


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace(",", "\\,").replace("$", "\\$")


OTHERWISE = {
    "date": "2026-11-25",
    "number": "1",
    "quantity": "1",
    "reference": "Patient/none",
    "uri": "https://x.example",
}
PRESENTED = (
    ("_summary", "true"),
    ("_summary", "text"),
    ("_summary", "data"),
    ("_summary", "count"),
    ("_elements", "id"),
    ("_total", "accurate"),
    ("_total", "none"),
)
