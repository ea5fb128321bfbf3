"""A resource -> the keys under which a search finds it, by one walk over the elements that are indexed."""

from functools import cache
from typing import Any

from service.basics.stored import NO_DATE, Keys
from service.fhir import moments
from service.fhir.search import pairs, referrers
from service.fhir.search.found import Found
from service.fhir.search.leaves import Reader, reader
from service.fhir.search.table import Row, dated, rows


class Branch:
    """What is read at one place of a resource, and the places below it."""

    __slots__ = ("below", "readers")

    def __init__(self) -> None:
        self.readers: list[Reader] = []
        self.below: dict[str, Branch] = {}


@cache
def _tree(type_: str) -> Branch:
    root = Branch()
    for row in rows().get(type_, {}).values():
        if row.alias or row.union or row.pairs:
            continue
        for path in row.paths:
            at = root
            for name in path[:-1]:
                at = at.below.setdefault(name, Branch())
            at.readers.append(reader(type_, row, path[-1]))
    for holder, read in pairs.readers(type_) if type_ in rows() else ():
        root.below.setdefault(holder, Branch()).readers.append(read)
    return root


@cache
def _defaults(type_: str) -> tuple[Row, ...]:
    return tuple(row for row in rows().get(type_, {}).values() if row.default)


def keys(organization: str, resource: dict[str, Any]) -> Keys:
    """All search keys of one valid resource of a type that can be stored."""
    found = read(organization, resource)
    referrers.add(resource, found)
    return kept(found)


def kept(found: Found) -> Keys:
    """What was found, as it crosses the wall to the store."""
    return Keys(frozenset(found.marks), frozenset(found.texts), found.present)


def read(organization: str, resource: dict[str, Any]) -> Found:
    """What the search parameters of its type find in a resource, or in some of its elements."""
    type_ = resource["resourceType"]
    found = Found(organization, type_, _date(resource, dated(type_)))
    _walk(resource, _tree(type_).below, found)
    for row in _defaults(type_):
        if not any(path[0] in resource for path in row.paths):
            found.token(row.code, "", row.default)
    return found


def _date(resource: dict[str, Any], names: tuple[str, ...]) -> int:
    for name in names:
        stretch = moments.of(resource.get(name))
        if stretch is not None:
            return stretch[0]
    return NO_DATE


def _walk(holder: dict[str, Any], below: dict[str, Branch], found: Found) -> None:
    for name, value in holder.items():
        branch = below.get(name)
        if branch is None:
            continue
        if type(value) is list:
            for item in value:
                _visit(item, branch, found)
        else:
            _visit(value, branch, found)


def _visit(value: Any, branch: Branch, found: Found) -> None:
    if value is None:  # a primitive that only has extensions
        return
    for read in branch.readers:
        read(value, found)
    if branch.below and type(value) is dict:
        _walk(value, branch.below, found)
