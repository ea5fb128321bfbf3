"""R4's structure definitions -> the JSON Schema of every type, as one table of definitions; for the generator only."""

from typing import Any

from service.fhir import uris
from service.fhir.definitions import Definitions, Element
from service.fhir.validate import bindings
from service.fhir.validate.choices import exclusive
from service.fhir.validate.invariants import INVARIANTS, Invariant
from service.fhir.validate.primitives import PRIMITIVES

Schema = dict[str, Any]

_VALUES: dict[str, Schema] = {
    "not below 0": {"minimum": 0},
    "above 0": {"exclusiveMinimum": 0},
    "of UCUM": {"const": uris.UCUM},
    "one": {"const": "1"},
}
_ABSTRACT_LINKS = frozenset({"Resource", "DomainResource"})


def build(definitions: Definitions) -> dict[str, Schema]:
    """name -> schema: primitives, data types, backbone elements by path, resources, and references by their targets."""
    return _Builder(definitions).build()


def link(name: str) -> Schema:
    """A reference to the definition `name`."""
    return {"$ref": f"#/$defs/{name}"}


class _Builder:
    def __init__(self, definitions: Definitions) -> None:
        self.definitions = definitions
        self.found: dict[str, Schema] = {}
        self.links: dict[str, list[str]] = {}  # definition of a reference -> its target types
        self.resources = sorted(name for name, kind in definitions.kinds.items() if kind == "resource")

    def build(self) -> dict[str, Schema]:
        self.found |= {name: dict(schema) for name, schema in PRIMITIVES.items()}
        self.found["_primitive"] = _closed({"id": link("string"), "extension": _many(link("Extension"))})
        self.found[bindings.MIME] = bindings.MIME_TYPE
        self.found["_resource"] = {
            "type": "object",
            "required": ["resourceType"],
            "properties": {"resourceType": {"enum": self.resources}},
        }
        for path in self.definitions.children:
            root = path.partition(".")[0]
            if self.definitions.kinds.get(root) in ("resource", "complex-type"):
                self.found[path] = self._structure(path)
        self.found["SimpleQuantity"] = _without_comparator(self.found["Quantity"])
        self._reference_texts()
        return dict(sorted(self.found.items()))

    def _structure(self, path: str) -> Schema:
        properties: Schema = {}
        rules: list[Schema] = []
        required: list[str] = []
        if self.definitions.kinds.get(path) == "resource":
            properties["resourceType"] = {"const": path}
            required.append("resourceType")
        for element in self.definitions.children[path]:
            self._element(element, properties=properties, required=required, rules=rules)
        rules += [self._invariant(row) for row in INVARIANTS if row.path == path]
        rules += [bindings.UCUM_CODE] * (path == "Quantity")
        schema = _closed(properties) | self._choices(path)
        return schema | ({"required": required} if required else {}) | ({"allOf": rules} if rules else {})

    def _choices(self, path: str) -> Schema:
        """What a reader of faults needs: the names before [x]."""
        bases = [e["path"].rpartition(".")[2] for e in self.definitions.children[path]]
        choices = [base.removesuffix("[x]") for base in bases if base.endswith("[x]")]
        return {"choices": choices} if choices else {}

    def _element(self, element: Element, *, properties: Schema, required: list[str], rules: list[Schema]) -> None:
        if element["max"] == "0":
            return
        base = element["path"].rpartition(".")[2]
        types = self.definitions.types_of(element)
        if base == "id" and self.definitions.kinds.get(element["path"].partition(".")[0]) == "resource":
            types = ("id",) if element["path"].count(".") == 1 else types  # R4 declares it as string, and means id
        if base.endswith("[x]"):
            self._choice(element, base.removesuffix("[x]"), properties=properties, rules=rules)
            return
        primitive = self._add(element, base, types[0], properties=properties)
        if element["min"] and primitive:
            rules.append({"anyOf": [_has(base), _has(f"_{base}")], "$comment": f"required {base}"})
        elif element["min"]:
            required.append(base)

    def _choice(self, element: Element, base: str, *, properties: Schema, rules: list[Schema]) -> None:
        names: list[tuple[str, bool]] = []
        for type_ in self.definitions.types_of(element):
            name = base + type_[0].upper() + type_[1:]
            names.append((name, self._add(element, name, type_, properties=properties)))
        if element["path"] == "Extension.value[x]":  # ext-1 counts extension as one of them
            names.append(("extension", False))
            rules.append(exclusive(names, needed=True, comment="ext-1: an extension has either a value or extensions"))
        else:
            needed = bool(element["min"])
            rules.append(exclusive(names, needed=needed, comment=f"{'required' if needed else 'choice'} {base}[x]"))

    def _add(self, element: Element, name: str, type_: str, *, properties: Schema) -> bool:
        """Adds the property (and its extensions' twin); whether it is a primitive that has a twin."""
        one = self._one(element, type_)
        primitive = type_ in PRIMITIVES and "regex" not in element and not _bare(element)
        many = element["max"] != "1"
        properties[name] = _many(_or_null(one) if primitive else one) if many else one
        if primitive:
            twin = link("_primitive")
            properties[f"_{name}"] = _many({"anyOf": [{"type": "null"}, twin]}) if many else twin
        return primitive

    def _one(self, element: Element, type_: str) -> Schema:
        if type_ == "Reference":
            return link(self._reference(element))
        if type_ in ("Resource", "DomainResource"):
            return link("_resource")
        if type_ == "Quantity" and any("profile" in t for t in element["type"]):
            return link("SimpleQuantity")  # the only profile that R4's own elements name
        return bindings.bound(element, type_, self.definitions.codes) or link(type_)

    def _reference(self, element: Element) -> str:
        types = [t for t in element["type"] if t["code"] == "Reference"]
        targets = sorted({p.removeprefix(uris.STRUCTURE_DEFINITION) for t in types for p in t.get("targetProfile", ())})
        if not targets or set(targets) & _ABSTRACT_LINKS:
            return "Reference"
        for name, known in self.links.items():
            if known == targets:
                return name
        name = f"Reference.{len(self.links) + 1}"
        self.links[name] = targets
        return name

    def _reference_texts(self) -> None:
        self.found["Reference"]["properties"]["reference"] = _target(self.resources)
        for name, targets in self.links.items():
            properties = {"reference": _target(targets), "type": {"pattern": f"^(?:{'|'.join(targets)}|http.*)$"}}
            self.found[name] = {**link("Reference"), "properties": properties, "targets": targets}

    def _invariant(self, row: Invariant) -> Schema:
        first, *rest = row.names
        comment = {"$comment": f"{row.key}: {row.words}"}
        if row.rule in _VALUES:
            return {"properties": dict.fromkeys(row.names, _VALUES[row.rule]), **comment}
        if row.rule == "some":
            return {"anyOf": [_has(n) for name in row.names for n in self._spellings(row.path, name)], **comment}
        spelt = [n for name in rest for n in self._spellings(row.path, name)]
        inner = (
            {"anyOf": [_has(n) for n in spelt]} if row.rule == "needs" else {"properties": dict.fromkeys(spelt, False)}
        )
        return {"dependentSchemas": dict.fromkeys(self._spellings(row.path, first), inner), **comment}

    def _spellings(self, path: str, name: str) -> list[str]:
        """The JSON names of an element: its choices, and the twin of a primitive."""
        element = self.definitions.elements.get(f"{path}.{name}") or self.definitions.elements[f"{path}.{name}[x]"]
        choice = element["path"].endswith("[x]")
        types = self.definitions.types_of(element)
        names = [(name + t[0].upper() + t[1:] if choice else name, t) for t in types]
        return [n for spelt, t in names for n in ((spelt, f"_{spelt}") if t in PRIMITIVES else (spelt,))]


def _closed(properties: Schema) -> Schema:
    return {"type": "object", "properties": properties, "additionalProperties": False, "minProperties": 1}


def _without_comparator(quantity: Schema) -> Schema:
    """sqty-1: a measured or expected amount is not compared."""
    properties = {k: v for k, v in quantity["properties"].items() if k.removeprefix("_") != "comparator"}
    return {**quantity, "properties": properties}


def _many(one: Schema) -> Schema:
    return {"type": "array", "items": one, "minItems": 1}


def _or_null(one: Schema) -> Schema:
    return {"anyOf": [one, {"type": "null"}]}


def _has(name: str) -> Schema:
    return {"required": [name]}


def _bare(element: Element) -> bool:
    """Whether the element is a plain attribute (id, Extension.url) that cannot carry extensions."""
    return any(str(t["code"]).startswith(uris.FHIRPATH) for t in element.get("type", ()))


def _target(types: list[str]) -> Schema:
    """A reference inside (#), absolute, or relative to one of the types: by id or by a search."""
    return {"type": "string", "pattern": rf"^(?:#|urn:|[a-z][a-z0-9+.\-]*:|(?:{'|'.join(types)})[/?])\S*$"}
