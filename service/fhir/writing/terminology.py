"""Our own codes, and what senders' codes lead to, into CodeSystem, ValueSet and ConceptMap."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from service.basics.coding import Coding, Concept, Mapped
from service.fhir import uris
from service.fhir.writing.conformance import heading

Json = dict[str, Any]

NOTICES = {
    uris.SCT: "SNOMED CT codes are used by permission of SNOMED International, all rights reserved; a licence may be "
    "needed where you are.",
    uris.LOINC: "LOINC is copyright Regenstrief Institute, Inc. and the LOINC Committee, available at no cost under "
    "the license at http://loinc.org/license.",
    uris.DCM: "DICOM codes are from DICOM PS3.16, copyright National Electrical Manufacturers Association.",
}
VALUES: Mapping[type, str] = {str: "valueString", int: "valueInteger", bool: "valueBoolean"}
FACTS: Mapping[str, str] = {
    "grade": "0 as expected, 1 mild, 2 moderate, 3 marked; codes without it are neither",
    "expected": "What is filled in where a person says that a structure was seen as expected",
    "measures": "What is to be measured once it is noted; of several parted by | one",
    "lesions": "How many records of focal lesions it asks for at least",
    "compared-with": "What the eye compares it with",
    "asked-when": "The answer that makes it a question",
}
AMBIGUOUS = "It fits more than one structure, so it settles nothing and is left to a person."
ONE_OF = "The one that applies to the structure and the species."


def code_system(url: str, title: str, concepts: Sequence[Concept], *, version: str) -> Json:
    """A complete code system of ours; concepts that name a parent stand under it."""
    id_ = url.rpartition("/")[2]
    nested: Json = {"hierarchyMeaning": "grouped-by"} if any(c.parent for c in concepts) else {}
    return {
        **heading("CodeSystem", id_, title, url=url, version=version),
        "caseSensitive": True,
        "valueSet": f"{uris.VALUE_SET}{id_}",
        **nested,
        **_properties(concepts),
        "content": "complete",
        "count": len(concepts),
        "concept": _under("", concepts),
    }


def _under(parent: str, concepts: Sequence[Concept]) -> list[Json]:
    found = []
    for one in concepts:
        if one.parent == parent:
            inner = _under(one.code, concepts) if not parent else []
            found.append(_concept(one) | ({"concept": inner} if inner else {}))
    return found


def _concept(one: Concept) -> Json:
    said: Json = {"code": one.code, "display": one.display}
    if one.translations:
        said["designation"] = [{"language": language, "value": words} for language, words in one.translations]
    if one.facts:
        said["property"] = [{"code": name, VALUES[type(value)]: value} for name, value in one.facts]
    return said


def _properties(concepts: Iterable[Concept]) -> Json:
    """What the system tells of its codes beside their words."""
    kinds = {name: type(value) for one in concepts for name, value in one.facts}
    told = [{"code": n, "description": FACTS[n], "type": VALUES[k][5:].lower()} for n, k in sorted(kinds.items())]
    return {"property": told} if told else {}


def value_set(id_: str, title: str, *, version: str, system: str = "", codings: Iterable[Coding] = ()) -> Json:
    """All codes of one system of ours, or exactly these codings."""
    grouped: dict[str, list[Json]] = {system: []} if system else {}
    for coding in codings:
        shown = {"display": coding.display} if coding.display else {}
        grouped.setdefault(coding.system, []).append({"code": coding.code, **shown})
    include = [{"system": uri} | ({"concept": codes} if codes else {}) for uri, codes in grouped.items()]
    return {
        **heading("ValueSet", id_, title, url=f"{uris.VALUE_SET}{id_}", version=version),
        **_copyright(grouped),
        "compose": {"include": include},
    }


def concept_map(id_: str, title: str, rows: Sequence[Mapped], *, version: str) -> Json:
    """What senders' codes lead to here. How far the meanings agree is not claimed; ambiguous codes are unmatched."""
    groups: dict[tuple[str, str], dict[Coding, list[Json]]] = {}
    for row in rows:
        for system, targets in _targets(row):
            elements = groups.setdefault((row.source.system, system), {})
            elements.setdefault(row.source, []).extend(targets)
    return {
        **heading("ConceptMap", id_, title, url=f"{uris.BASE}/ConceptMap/{id_}", version=version),
        **_copyright([source for source, _ in groups]),
        "group": [
            {
                "source": source,
                **({"target": target} if target else {}),
                "element": [
                    {"code": c.code, "display": c.display, "target": targets} for c, targets in elements.items()
                ],
            }
            for (source, target), elements in groups.items()
        ],
    }


def _targets(row: Mapped) -> list[tuple[str, list[Json]]]:
    """The targets of one row by their code system; "" when it leads to nothing."""
    side = {"property": uris.LATERALITY, "value": row.side}
    depends: Json = {"dependsOn": [side]} if row.side else {}
    if not row.targets:
        return [("", [{"equivalence": "unmatched", "comment": AMBIGUOUS, **depends}])]
    comment: Json = {"comment": ONE_OF} if len(row.targets) > 1 else {}
    found: dict[str, list[Json]] = {}
    for target in row.targets:
        one = {"code": target.code, "equivalence": "relatedto", **comment, **depends}
        found.setdefault(target.system, []).append(one)
    return list(found.items())


def _copyright(systems: Iterable[str]) -> Json:
    notices = [NOTICES[system] for system in dict.fromkeys(systems) if system in NOTICES]
    return {"copyright": " ".join(notices)} if notices else {}
