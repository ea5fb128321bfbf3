"""A profile or an extension of ours, as rows -> its StructureDefinition."""

from typing import Any

from service.fhir import uris
from service.fhir.profiles.rows import Own, Part, Profile, Rule

Json = dict[str, Any]
VERSION = "1.0.0"
_SERVED = "Written by the server; a change by others is refused."


def structure(url: str, profile: Profile) -> Json:
    """The StructureDefinition of a profile, as what it changes in R4."""
    first: Json = {"id": profile.type, "path": profile.type, "short": profile.title, "definition": profile.words}
    slices = [rule for rule in profile.rules if rule.url]
    elements = [first, *_slicing(profile.type, slices), *(_element(profile.type, rule) for rule in profile.rules)]
    return _shell(url, profile.name, profile.title, profile.words) | {
        "type": profile.type,
        "baseDefinition": uris.STRUCTURE_DEFINITION + profile.type,
        "derivation": "constraint",
        "differential": {"element": elements},
    }


def _shell(url: str, name: str, title: str, words: str) -> Json:
    return {
        "resourceType": "StructureDefinition",
        "id": name,
        "url": url,
        "version": VERSION,
        "name": "".join(part.capitalize() for part in name.split("-")),
        "title": title,
        "status": "active",
        "experimental": False,
        "publisher": "Sonoledger",
        "description": words,
        "fhirVersion": "4.0.1",
        "kind": "resource",
        "abstract": False,
    }


def _slicing(type_: str, slices: list[Rule]) -> list[Json]:
    """How the extensions of each holder are told apart: by their url."""
    holders = dict.fromkeys(rule.path.rpartition("extension:")[0] for rule in slices)
    discriminator = [{"type": "value", "path": "url"}]
    return [
        {
            "id": f"{type_}.{holder}extension",
            "path": _path(type_, f"{holder}extension"),
            "slicing": {"discriminator": discriminator, "rules": "open"},
        }
        for holder in holders
    ]


def _path(type_: str, path: str) -> str:
    return ".".join([type_, *(step.partition(":")[0] for step in path.split("."))])


def _element(type_: str, rule: Rule) -> Json:
    path = rule.path.replace("valueQuantity", "value[x]:valueQuantity")
    element: Json = {"id": f"{type_}.{path}", "path": _path(type_, path)}
    if rule.url:
        element["sliceName"] = rule.path.rpartition(":")[2]
    element["short"] = rule.words
    if rule.served:
        element["comment"] = _SERVED
    if rule.least:
        element["min"] = rule.least
    if rule.most:
        element["max"] = rule.most
    return element | _types(rule) | _pattern(rule)


def _types(rule: Rule) -> Json:
    if rule.url.startswith("http"):
        return {"type": [{"code": "Extension", "profile": [rule.url]}]}
    if rule.targets:
        targets = [uris.STRUCTURE_DEFINITION + target for target in rule.targets]
        return {"type": [{"code": "Reference", "targetProfile": targets}]}
    return {"type": [{"code": type_} for type_ in rule.types]} if rule.types else {}


def _pattern(rule: Rule) -> Json:
    if rule.pattern is None:
        return {}
    type_, value = rule.pattern
    return {f"pattern{type_[0].upper()}{type_[1:]}": value}


def extension(own: Own) -> Json:
    """The StructureDefinition of an extension."""
    name = own.url.rpartition("/")[2]
    elements: list[Json] = [{"id": "Extension", "path": "Extension", "short": own.title, "definition": own.title}]
    elements += [part for one in own.parts for part in _part(one)]
    elements.append({"id": "Extension.url", "path": "Extension.url", "fixedUri": own.url})
    if own.type:
        elements.insert(1, {"id": "Extension.extension", "path": "Extension.extension", "max": "0"})
        elements.append(_value("Extension", own.type))
    else:
        elements.append({"id": "Extension.value[x]", "path": "Extension.value[x]", "max": "0"})
    return _shell(own.url, name, own.title, own.title) | {
        "kind": "complex-type",
        "context": [{"type": "element", "expression": place} for place in own.context],
        "type": "Extension",
        "baseDefinition": f"{uris.STRUCTURE_DEFINITION}Extension",
        "derivation": "constraint",
        "differential": {"element": elements},
    }


def _value(holder: str, type_: str) -> Json:
    return {"id": f"{holder}.value[x]", "path": "Extension.value[x]", "min": 1, "type": [{"code": type_}]}


def _part(part: Part) -> list[Json]:
    holder = f"Extension.extension:{part.url}"
    path = "Extension.extension"
    cardinality = {"min": part.least, "max": part.most}
    return [
        {"id": holder, "path": path, "sliceName": part.url, "short": part.words} | cardinality,
        {"id": f"{holder}.extension", "path": f"{path}.extension", "max": "0"},
        {"id": f"{holder}.url", "path": f"{path}.url", "fixedUri": part.url},
        _value(holder, part.type) | {"path": f"{path}.value[x]"},
    ]
