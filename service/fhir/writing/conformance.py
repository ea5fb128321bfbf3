"""What we define ourselves into resources: their common heading, SearchParameter, OperationDefinition."""

import re
from collections.abc import Mapping
from typing import Any

from service.fhir import uris
from service.fhir.operations import Operation, Parameter

Json = dict[str, Any]
_WORD = re.compile(r"[A-Za-z0-9]+")


def heading(type_: str, id_: str, title: str, *, url: str, version: str, named: bool = True) -> Json:
    """The first elements of a definition; named: the type has a name, which is the title as one word."""
    words = "".join(word[0].upper() + word[1:] for word in _WORD.findall(title))
    name = {"name": words if words[:1].isalpha() else f"N{words}"} if named else {}
    return {
        "resourceType": type_,
        "id": id_,
        "url": url,
        "version": version,
        **name,
        "title": title,
        "status": "active",
        "experimental": False,
        "publisher": "Sonoledger",
    }


def search_parameter(definition: Mapping[str, Any], *, version: str) -> Json:
    """The SearchParameter of a definition's facts: url, code, base, type, expression, target, component."""
    url, code, base = str(definition["url"]), str(definition["code"]), list(definition["base"])
    own = url.startswith(uris.BASE)
    facts = {name: definition[name] for name in _FACTS if definition.get(name)}
    multiple = {name: definition[name] for name in ("multipleOr", "multipleAnd") if name in definition}
    return {
        "resourceType": "SearchParameter",
        "id": url.rpartition("/")[2],
        "url": url,
        "version": version if own else "4.0.1",
        "name": str(definition.get("name", code)),
        "status": "active",
        "experimental": False,
        "publisher": "Sonoledger" if own else "HL7",
        "description": f"{code} ({definition['type']}) of {', '.join(base)}",
        "code": code,
        "base": base,
        "type": definition["type"],
        **facts,
        **multiple,
    }


_FACTS = ("expression", "target", "comparator", "modifier", "chain", "component")


def operation_definition(operation: Operation, *, version: str) -> Json:
    """The OperationDefinition of an operation that is offered here."""
    url = operation.url
    return {
        **heading("OperationDefinition", url.rpartition("/")[2], operation.title, url=url, version=version),
        "kind": "operation",
        "description": operation.description,
        "affectsState": operation.changes,
        "code": operation.name,
        **({"base": operation.base} if operation.base else {}),
        "resource": list(operation.types),
        "system": False,
        "type": "type" in operation.levels,
        "instance": "instance" in operation.levels,
        "parameter": [_parameter(one) for one in operation.parameters],
    }


def _parameter(one: Parameter) -> Json:
    found: Json = {"name": one.name, "use": one.use, "min": one.min, "max": one.max}
    if one.text:
        found["documentation"] = one.text
    return found | ({"part": [_parameter(part) for part in one.parts]} if one.parts else {"type": one.type})
