"""What one of our profiles or extensions is made of: a row an element."""

from typing import Any, NamedTuple

Json = dict[str, Any]


class Rule(NamedTuple):
    """One element of a profile, and how R4 is narrowed there.

    path: below the resource, value[x] with its brackets, an extension by its slice (extension:animal).
    pattern: (FHIR type, value) that is to be found in it; url: of the extension, for a slice; served: the server
    writes it, and a change by others is refused."""

    path: str
    words: str  # what is needed here, as a sentence
    least: int = 0
    most: str = ""  # "" as R4 has it
    types: tuple[str, ...] = ()  # of value[x]
    targets: tuple[str, ...] = ()  # of a reference
    pattern: tuple[str, Any] | None = None
    url: str = ""
    served: bool = False


class Profile(NamedTuple):
    """A profile of one R4 type. sign: (path of a list of codings or extensions, at most one element deep; what one of
    them holds) by which a resource is known to be of it."""

    name: str
    type: str
    title: str
    words: str
    sign: tuple[tuple[str, Json], ...]
    rules: tuple[Rule, ...]


class Part(NamedTuple):
    """One part of a complex extension."""

    url: str
    type: str
    words: str
    least: int = 0
    most: str = "1"


class Own(NamedTuple):
    """An extension of ours: with a value of one type, or with parts."""

    url: str
    context: tuple[str, ...]  # elements that it may stand on
    title: str
    type: str = ""
    parts: tuple[Part, ...] = ()


def coded(system: str, code: str = "") -> tuple[str, Json]:
    """The pattern of a CodeableConcept with a coding of the system."""
    return "CodeableConcept", {"coding": [{"system": system, "code": code} if code else {"system": system}]}
