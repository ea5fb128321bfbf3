"""References to what a directory holds -> the keys under which everything that refers to one resource is found."""

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

from service.fhir import exact
from service.fhir.search.found import Found
from service.fhir.search.hashed import key
from service.fhir.search.references import plain
from service.fhir.search.table import Row, rows
from service.fhir.types import DIRECTORY

Tree = dict[str, Any]  # of itself

_NONE: Tree = {}
_ELSEWHERE = "_refers"  # not a search parameter: references from elements that none covers
_LISTED = re.compile(rf"(?:^|/)(?:{'|'.join(sorted(DIRECTORY))})/[A-Za-z0-9\-.]+$")
_NAMED = re.compile(rf"(?:{'|'.join(sorted(DIRECTORY))})/".encode())
_CODED = frozenset({"coding", "code", "category", "bodySite", "method", "valueCodeableConcept", "valueQuantity"})
_NOT_ASKED = frozenset({"AuditEvent"})  # the audit keeps what was, whatever is deleted


def keys(organization: str, type_: str, id_: str, *, base: str) -> Iterator[tuple[str, tuple[int, ...]]]:
    """(type, keys) for each type: a resource of it that bears one of the keys refers to the one of this id.

    base: our own base URL, for references that name it."""
    links = (f"{type_}/{id_}", f"{base}/{type_}/{id_}")
    for other in sorted(rows().keys() - _NOT_ASKED):
        yield other, tuple(key(organization, other, code, link) for code in _parameters(other) for link in links)


def add(resource: dict[str, Any], found: Found) -> None:
    """Mark the references to a directory that no search parameter covers."""
    links: list[str] = []
    _collect(resource, _covered(found.type), links)
    for link in links:
        if _LISTED.search(plain(link)):
            found.value(_ELSEWHERE, plain(link))


def named(text: exact.Element) -> bool:
    """Whether the text of an element may hold a reference to a directory."""
    return _NAMED.search(text) is not None


@cache
def _parameters(type_: str) -> tuple[str, ...]:
    return (*(row.code for row in _references(type_)), _ELSEWHERE)


def _references(type_: str) -> list[Row]:
    return [r for r in rows()[type_].values() if r.kind == "reference" and not r.alias and not r.union]


@cache
def _covered(type_: str) -> Tree:
    """The elements whose references some parameter finds: names to trees, such an element itself to None."""
    root: Tree = {}
    for row in _references(type_):
        for path in row.paths:
            if path[-1] == "Reference" and not row.target:
                at = root
                for name in path[:-2]:
                    at = at.setdefault(name, {})
                at[path[-2]] = None
    return root


def _collect(holder: dict[str, Any], covered: Tree, links: list[str]) -> None:
    for name, value in holder.items():
        if type(value) is str:
            if name == "reference":
                links.append(value)
            continue
        below = covered.get(name, _NONE)
        if below is None or name in _CODED:
            continue
        for one in value if type(value) is list else (value,):
            if type(one) is dict:
                _collect(one, below, links)
