"""R4's definitions -> what a summary keeps of each type, what must stay, and compartments; for the generator only."""

from typing import Any

from service.fhir.definitions import Definitions
from service.fhir.types import DEFINITIONS, STORABLE

_ALWAYS = frozenset({"implicitRules", "modifierExtension"})  # they change what the rest means


def outlines(definitions: Definitions) -> dict[str, Any]:
    """type -> {names: element -> its JSON names, kept: mandatory ones, summary, below: backbone -> JSON names}."""
    return {type_: _outline(definitions, type_) for type_ in sorted(STORABLE | DEFINITIONS)}


def _outline(definitions: Definitions, type_: str) -> dict[str, Any]:
    children = definitions.children[type_]
    names = {_name(one): _json_names(definitions, one) for one in children}
    kept = [_name(one) for one in children if one["min"] > 0]
    summary = [_name(one) for one in children if _summarized(one)]
    return {"names": names, "kept": kept, "summary": summary, "below": dict(_below(definitions, children))}


def _below(definitions: Definitions, children: list[dict[str, Any]]) -> list[tuple[str, list[str]]]:
    found = []
    for one in children:
        inner = definitions.children.get(one["path"], [])
        if inner and _summarized(one):
            kept = [name for child in inner if _summarized(child) for name in _json_names(definitions, child)]
            found.append((_name(one), kept))
    return found


def _summarized(element: dict[str, Any]) -> bool:
    return bool(element.get("isSummary") or element["min"] > 0 or _name(element) in _ALWAYS)


def _name(element: dict[str, Any]) -> str:
    return str(element["path"]).rpartition(".")[2].removesuffix("[x]")


def _json_names(definitions: Definitions, element: dict[str, Any]) -> list[str]:
    name = _name(element)
    if not element["path"].endswith("[x]"):
        return [name]
    return [name + kind[0].upper() + kind[1:] for kind in definitions.types_of(element)]


def compartments(definitions: Definitions) -> dict[str, Any]:
    """compartment -> type -> the reference parameters that put a resource in it."""
    found: dict[str, Any] = {}
    for one in definitions.compartments:
        types = {row["code"]: row["param"] for row in one["resource"] if row.get("param") and row["code"] in STORABLE}
        found[one["code"]] = dict(sorted(types.items()))
    return dict(sorted(found.items()))
