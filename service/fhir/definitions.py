"""A folder of R4 definitions reduced to one JSON object a line -> look-ups by name, for the generator only."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.fhir import exact

Element = dict[str, Any]

# What the package of definitions adds to R4 (compared with HL7's published types): never taken over.
NOT_R4 = frozenset(
    {f"Meta.{name}" for name in ("project", "author", "onBehalfOf", "account", "accounts", "compartment")}
    | {"Binary.url", "PlanDefinition.subjectCanonical", "ActivityDefinition.subjectCanonical"}
)


@dataclass(frozen=True, slots=True)
class Definitions:
    """elements: by path, in order; children: the paths one level below; kinds: type -> resource, complex-type ..."""

    elements: dict[str, Element]
    children: dict[str, list[Element]]
    kinds: dict[str, str]
    codes: dict[str, list[tuple[str, tuple[str, ...]]]]  # value set -> (system, codes)
    search: list[dict[str, Any]]
    compartments: list[dict[str, Any]]

    def types_of(self, element: Element) -> tuple[str, ...]:
        """FHIR type names of an element; a backbone element is named by its path."""
        if "contentReference" in element:
            return (element["contentReference"].lstrip("#"),)
        types = element.get("type", [])
        return tuple(element["path"] if t["code"] in ("BackboneElement", "Element") else _type_name(t) for t in types)


def _type_name(type_: dict[str, Any]) -> str:
    return str(type_.get("fhirType", type_["code"])).rpartition("/")[2].removeprefix("System.")


def _lines(path: Path) -> list[dict[str, Any]]:
    return [exact.decode(line) for line in path.read_bytes().splitlines() if line.strip()]


def read(folder: Path) -> Definitions:
    """The definitions in `folder`; what is not R4 is left out."""
    found = Definitions(
        {}, {}, {}, {}, _lines(folder / "search-parameters.ndjson"), _lines(folder / "compartments.ndjson")
    )
    for structure in _lines(folder / "structures.ndjson"):
        if structure.get("derivation") != "constraint":
            _add_structure(found, structure)
    for value_set in _lines(folder / "required-value-sets.ndjson"):
        codes = value_set.get("codes")
        if codes:
            found.codes[value_set["valueSet"]] = [(system, tuple(names)) for system, names in codes.items()]
    return found


def _add_structure(found: Definitions, structure: dict[str, Any]) -> None:
    found.kinds[structure["type"]] = "abstract" if structure.get("abstract") else structure["kind"]
    for element in structure["element"]:
        path = element["path"]
        if path in NOT_R4:
            continue
        found.elements[path] = element
        holder, _, name = path.rpartition(".")
        if name and holder:
            found.children.setdefault(holder, []).append(element)
