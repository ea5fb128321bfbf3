"""A finding in our own codes that its structure's vocabulary lacks into a refusal that lists what can be said."""

from collections.abc import Mapping
from typing import Protocol

from service.basics.coding import Coding
from service.basics.errors import Fault
from service.exam.evidence import Unmapped
from service.exam.rules import Attribute, Structure


class Vocabulary(Protocol):
    """Our code systems and what they say of each structure; service.catalogue's Catalogue honours it."""

    @property
    def systems(self) -> Mapping[str, str]: ...
    @property
    def structures(self) -> Mapping[str, Structure]: ...
    @property
    def vocabularies(self) -> Mapping[str, tuple[Attribute, ...]]: ...


def fault(found: Unmapped, rules: Vocabulary) -> Fault | None:
    """What is wrong with a finding of one structure; None for what is said in a sender's codes, which is kept.

    A code of ours is no word of a foreign language: outside its vocabulary it is a mistake, never a new word."""
    if found.what not in {"code", "value"} or len(found.structures) != 1 or found.sighting.retracted:
        return None
    structure = rules.structures[found.structures[0]]
    attributes = rules.vocabularies.get(structure.vocabulary, ())
    asked = _ours(found.sighting.codes, rules.systems.get("attribute", ""))
    known = next((a for c in asked for a in attributes if a.key == c.code), None)
    if known is None:
        return _no_attribute(asked[0], structure, attributes) if asked else None
    return _no_value(found, structure, known, rules.systems.get("finding", ""))


def _ours(codings: tuple[Coding, ...], system: str) -> list[Coding]:
    return [c for c in codings if c.system == system]


def _no_attribute(asked: Coding, structure: Structure, attributes: tuple[Attribute, ...]) -> Fault:
    can = ", ".join(f"{a.key} ({a.title})" for a in attributes)
    text = f'"{asked.code}" is not asked of this structure ({structure.title}); it can be {can}.'
    return Fault("code-invalid", text, "Observation.code")


def _no_value(found: Unmapped, structure: Structure, attribute: Attribute, system: str) -> Fault | None:
    said = _ours(found.sighting.words, system)
    if not said:
        return None
    can = ", ".join(f"{structure.vocabulary}.{attribute.key}.{v.code} ({v.display})" for v in attribute.values)
    text = f'"{said[0].code}" is no value for {attribute.title} of {structure.title}; it can be {can}.'
    return Fault("code-invalid", text, "Observation.value.ofType(CodeableConcept)")
