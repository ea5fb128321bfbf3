"""The body of a resource -> the elements a parameter reads, for what no index tells: words, texts, links."""

from collections.abc import Iterator
from typing import Any

from service.fhir import exact
from service.fhir.search.references import leads_to, plain
from service.fhir.search.table import Row, rows

Paths = tuple[tuple[str, ...], ...]


def at(resource: Any, paths: Paths) -> Iterator[tuple[str, Any]]:
    """(FHIR type, element) of everything that stands at the paths."""
    for path in paths:
        for value in _reach(resource, path[:-1]):
            yield path[-1], value


def _reach(value: Any, names: tuple[str, ...]) -> Iterator[Any]:
    if isinstance(value, list):
        for one in value:
            yield from _reach(one, names)
    elif not names:
        if value is not None:
            yield value
    elif isinstance(value, dict) and names[0] in value:
        yield from _reach(value[names[0]], names[1:])


def words(body: bytes, row: Row) -> Iterator[str]:
    """The codes, identifiers, references or URIs that the parameter reads, as they are compared when sorted."""
    resource = exact.decode(body)
    known = rows()[resource["resourceType"]]
    for part in row.union or (row.code,):
        for kind, value in at(resource, known[part].paths):
            yield from _words(kind, value, known[part])


def _words(kind: str, value: Any, row: Row) -> Iterator[str]:
    if kind == "CodeableConcept":
        yield from (one["code"].casefold() for one in value.get("coding", ()) if "code" in one)
    elif kind == "Reference":
        if "reference" in value and (not row.target or leads_to(value, row.target)):
            yield plain(value["reference"])
    elif kind in ("Coding", "Identifier", "ContactPoint"):
        if row.system in ("", value.get("system")):
            yield from (_cased(row, value[name]) for name in ("code", "value") if name in value)
    else:
        yield _cased(row, str(value))


def _cased(row: Row, word: str) -> str:
    return word if row.exact_case or row.kind == "uri" else word.casefold()


def said(body: bytes, paths: Paths) -> Iterator[str]:
    """What stands beside codes in words: text, display, or the text of an identifier's type."""
    for kind, value in at(exact.decode(body), paths):
        concept = value.get("type", {}) if kind == "Identifier" else value
        if kind == "Coding":
            concept = {"coding": [value]}
        if isinstance(concept, dict):
            yield from ([concept["text"]] if "text" in concept else ())
            yield from (one["display"] for one in concept.get("coding", ()) if "display" in one)


def links(resource: dict[str, Any], row: Row, *, target: str = "", base: str = "") -> Iterator[tuple[str, str]]:
    """(type, id) of what a resource of ours refers to by the parameter; only those of `target` when it is given."""
    for kind, value in at(resource, row.paths):
        if kind != "Reference" or (row.target and not leads_to(value, row.target)):
            continue
        type_, _, id_ = plain(value.get("reference", "")).removeprefix(f"{base}/").partition("/")
        if type_ in rows() and id_ and "/" not in id_ and target in ("", type_):
            yield type_, id_
