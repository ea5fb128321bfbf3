"""The generated schema -> what checks a resource of any R4 type, compiled once when first needed."""

import gzip
import re
from collections.abc import Iterable, Iterator, Mapping
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any

import jsonschema_rs

from service.fhir import exact
from service.fhir.types import STORABLE

FILE = "schema.json.gz"

Schema = dict[str, Any]

# Compiled together; the other types of R4 cost twice as much memory and come only inside others, so they wait.
USUAL = STORABLE | {"Bundle", "OperationOutcome", "Parameters"}

_LINK = re.compile(rb'"\$ref":"#/\$defs/([^"]+)"')
_KEPT = 256  # definitions decoded at a time: faults of one kind of resource need few


class Definitions(Mapping[str, Schema]):
    """name -> schema of every type, data type and backbone element; each is decoded when it is looked at."""

    def __init__(self, texts: Mapping[str, bytes]) -> None:
        self.texts = texts
        self._decoded = lru_cache(maxsize=_KEPT)(self._decode)

    def _decode(self, name: str) -> Schema:
        found: Schema = exact.decode(self.texts[name])
        return found

    def __getitem__(self, name: str) -> Schema:
        return self._decoded(name)

    def __iter__(self) -> Iterator[str]:
        return iter(self.texts)

    def __len__(self) -> int:
        return len(self.texts)


@cache
def definitions() -> Definitions:
    """What was generated."""
    lines = gzip.decompress(files("service.fhir.validate").joinpath(FILE).read_bytes()).splitlines()
    parts = (line.rstrip(b",").partition(b": ") for line in lines[1:-1])
    return Definitions({name.decode()[1:-1]: text for name, _, text in parts})


def types() -> frozenset[str]:
    """Every resource type of R4."""
    return _all_types()


@cache
def _all_types() -> frozenset[str]:
    return frozenset(definitions()["_resource"]["properties"]["resourceType"]["enum"])


def prepare() -> None:
    """Compile what the usual types need, so that the first request does not wait for it."""
    _compiled(usual=True)


def validator(type_: str) -> Any | None:
    """What checks {type_: resource}; None when R4 has no such type."""
    if type_ in USUAL:
        return _compiled(usual=True)
    return _compiled(usual=False) if type_ in _all_types() else None


@cache
def _compiled(*, usual: bool) -> Any:
    return jsonschema_rs.validator_for(_text(USUAL if usual else _all_types() - USUAL))


def _text(wanted: Iterable[str]) -> str:
    """The schema of these types and of all that they lead to, as JSON: as objects it would take ten times the room."""
    texts = definitions().texts
    parts = b",".join(b'"%b":%b' % (name.encode(), texts[name]) for name in sorted(_reached(wanted, texts)))
    roots = b",".join(b'"%b":{"$ref":"#/$defs/%b"}' % (name, name) for name in (w.encode() for w in sorted(wanted)))
    return (b'{"properties":{%b},"$defs":{%b}}' % (roots, parts)).decode()


def _reached(wanted: Iterable[str], texts: Mapping[str, bytes]) -> set[str]:
    found: set[str] = set()
    todo = list(wanted)
    while todo:
        name = todo.pop()
        if name not in found:
            found.add(name)
            todo += (one.decode() for one in _LINK.findall(texts[name]))
    return found
