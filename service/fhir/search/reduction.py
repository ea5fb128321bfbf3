"""R4 search parameters (FHIRPath) -> the plain JSON paths that the index reads; for the generator only."""

import re
from collections.abc import Iterable
from typing import Any

from service.fhir.definitions import Definitions
from service.fhir.search.own import OWN
from service.fhir.types import STORABLE

# kind of parameter -> the FHIR types that it can read
LEAVES = {
    "token": frozenset(
        ["CodeableConcept", "Coding", "ContactPoint", "Identifier", "boolean", "code", "id", "string", "present"]
    ),
    "reference": frozenset(["Reference", "canonical", "uri"]),
    "date": frozenset(["Period", "Timing", "date", "dateTime", "instant"]),
    "string": frozenset(["Address", "HumanName", "string", "markdown"]),
    "uri": frozenset(["uri", "url", "canonical"]),
    "quantity": frozenset(["Quantity", "Age", "Duration", "Money", "Range", "SimpleQuantity"]),
    "number": frozenset(["decimal", "integer", "positiveInt", "unsignedInt"]),
}

_CAST = re.compile(r"\((?P<path>[\w.]+) as (?P<type>\w+)\)(?P<rest>[\w.]*)")
_AS = re.compile(r"(?P<path>[\w.]+)\.as\((?P<type>\w+)\)(?P<rest>[\w.]*)")
_TARGET = re.compile(r"(?P<path>[\w.]+)\.where\(resolve\(\) is (?P<target>\w+)\)")
_SYSTEM = re.compile(r"(?P<path>[\w.]+)\.where\(system='(?P<system>\w+)'\)")
_PLAIN = re.compile(r"(?P<path>[\w.]+)")
_DECEASED = "Patient.deceased.exists() and Patient.deceased != false"

Leaf = tuple[tuple[str, ...], str]  # JSON path without the type, FHIR type of its end


def table(definitions: Definitions) -> dict[str, Any]:
    """type -> parameter -> {kind, url, paths [[json names..., fhir type]], and where they apply targets, target,
    system, implied, alias, union, default}; "Resource" holds what all types have. Parameters that need more than a
    path (composites, extensions, chains) are left out."""
    return {type_: _of_type(definitions, type_) for type_ in ("Resource", *sorted(STORABLE))}


def _of_type(definitions: Definitions, type_: str) -> dict[str, Any]:
    rows: dict[str, Any] = {}
    for parameter in _sources(definitions, type_):
        row = _row(definitions, parameter, type_)
        if row:
            rows.setdefault(parameter["code"], row)
    _alias(rows)
    _unite(rows)
    return dict(sorted(rows.items()))


def _sources(definitions: Definitions, type_: str) -> Iterable[dict[str, Any]]:
    for parameter in (*definitions.search, *OWN):
        skipped = parameter["code"] in ("_id", "_lastUpdated") or "/example" in parameter["url"]
        if parameter["type"] in LEAVES and not skipped and type_ in parameter.get("base", ()):
            yield parameter


def _row(definitions: Definitions, parameter: dict[str, Any], type_: str) -> dict[str, Any]:
    row: dict[str, Any] = {"kind": parameter["type"], "url": parameter["url"], "paths": []}
    if parameter.get("expression") == _DECEASED:
        row["paths"] = [["deceasedBoolean", "boolean"], ["deceasedDateTime", "present"]]
        return row | {"default": "false"}
    for part in _alternatives(parameter.get("expression", "")):
        leaves, extra = _part(definitions, part, type_)
        row["paths"] += [[*path, leaf] for path, leaf in leaves if leaf in LEAVES[row["kind"]]]
        row |= extra
    if not row["paths"]:
        return {}
    named = set(parameter.get("target", ()))
    targets = sorted(named & STORABLE or named)
    targets = [] if len(targets) == len(STORABLE) else targets  # none named is any
    return row | ({"targets": targets} if targets else {}) | _systems(definitions, row, type_)


def _alternatives(expression: str) -> list[str]:
    return [part.strip() for part in expression.split("|") if part.strip()]


def _part(definitions: Definitions, part: str, type_: str) -> tuple[list[Leaf], dict[str, str]]:
    for pattern in (_CAST, _AS, _TARGET, _SYSTEM, _PLAIN):
        match = pattern.fullmatch(part)
        if match:
            break
    else:
        return [], {}
    found = match.groupdict()
    root, _, path = found["path"].partition(".")
    if root != type_:
        return [], {}
    leaves = _leaves(definitions, type_, tuple(path.split(".")), cast=found.get("type"))
    if found.get("rest"):
        rest = tuple(found["rest"].strip(".").split("."))
        leaves = [((*names, *tail), leaf) for names, at in leaves for tail, leaf in _leaves(definitions, at, rest)]
    extra = {key: found[key] for key in ("target", "system") if found.get(key)}
    return leaves, extra


def _leaves(definitions: Definitions, at: str, names: tuple[str, ...], *, cast: str | None = None) -> list[Leaf]:
    name, rest = names[0], names[1:]
    found: list[Leaf] = []
    for json_name, kind in _steps(definitions, at, name):
        if not rest:
            if cast in (None, kind):
                found.append(((json_name,), kind))
            continue
        found += [((json_name, *tail), leaf) for tail, leaf in _leaves(definitions, kind, rest, cast=cast)]
    return found


def _steps(definitions: Definitions, at: str, name: str) -> list[tuple[str, str]]:
    plain = definitions.elements.get(f"{at}.{name}")
    if plain is not None:
        return [(name, definitions.types_of(plain)[0])]
    choice = definitions.elements.get(f"{at}.{name}[x]")
    kinds = definitions.types_of(choice) if choice else ()
    return [(name + kind[0].upper() + kind[1:], kind) for kind in kinds]


def _systems(definitions: Definitions, row: dict[str, Any], type_: str) -> dict[str, str]:
    """The code system that a parameter on one required-bound code element stands for."""
    if row["kind"] != "token" or len(row["paths"]) != 1 or row["paths"][0][-1] != "code":
        return {}
    element = definitions.elements.get(".".join((type_, *row["paths"][0][:-1])), {})
    systems = definitions.codes.get(element.get("binding", {}).get("valueSet", ""), [])
    return {"implied": systems[0][0]} if len(systems) == 1 else {}


def _alias(rows: dict[str, Any]) -> None:
    """Two reference parameters of the same paths share one key: patient is subject with the type given."""
    first: dict[str, str] = {}
    for code, row in sorted(rows.items(), key=lambda pair: ("target" in pair[1], pair[0])):
        if row["kind"] == "reference":
            known = first.setdefault(str(row["paths"]), code)
            if known != code:
                row["alias"] = known


def _unite(rows: dict[str, Any]) -> None:
    """A parameter whose paths are those of others together (combo-code) is looked up under their keys."""
    plain = {
        code: row["paths"] for code, row in rows.items() if row["kind"] in ("token", "quantity") and set(row) <= _SIMPLE
    }
    for code, paths in plain.items():
        parts = [
            other
            for other, theirs in plain.items()
            if other != code and rows[other]["kind"] == rows[code]["kind"] and all(path in paths for path in theirs)
        ]
        if len(paths) > 1 and all(any(path in plain[part] for part in parts) for path in paths):
            rows[code]["union"] = parts


_SIMPLE = {"kind", "url", "paths"}
