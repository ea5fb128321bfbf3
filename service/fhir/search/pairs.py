"""Elements that hold a code and its value together -> marks that find them as a pair."""

from collections.abc import Iterator
from typing import Any

from service.fhir.search.amounts import stretch, times
from service.fhir.search.found import Found
from service.fhir.search.leaves import Reader
from service.fhir.search.quantities import PLAIN, kept_units
from service.fhir.search.references import plain
from service.fhir.search.table import Row, rows

JOINT = "\x1e"
"""Between the parts of a pair whose value is a number or a reference."""


def readers(type_: str) -> Iterator[tuple[str, Reader]]:
    """(element, reader) of every pair of a type whose parts must be of the same element."""
    known = rows()[type_]
    for row in known.values():
        for holder, code, value in row.pairs:
            if holder and len(row.pairs) == 1:
                yield holder, _reader(row, known[code], known[value])


def _reader(row: Row, code: Row, value: Row) -> Reader:
    names = [(path[1], path[-1]) for path in code.paths], [(path[1], path[-1]) for path in value.paths]

    def read(element: Any, found: Found) -> None:
        codes = [one for name, kind in names[0] for one in _tokens(element.get(name), kind)]
        if not codes:
            return
        for name, kind in names[1]:
            if (part := element.get(name)) is not None:
                _READERS[kind](row, codes, part, found)

    return read


def _tokens(value: Any, kind: str) -> list[tuple[str, str]]:
    if value is None:
        return []
    if kind == "code":
        return [("", value.casefold())]
    return [(c.get("system", ""), c["code"].casefold()) for c in value.get("coding", ()) if "code" in c]


def _concept(row: Row, codes: list[tuple[str, str]], value: Any, found: Found) -> None:
    for code in codes:
        for one in _tokens(value, "CodeableConcept"):
            found.pair(row.code, code, one)


def _quantity(row: Row, codes: list[tuple[str, str]], value: Any, found: Found) -> None:
    number = value.get("value")
    if number is None:
        return
    for system, code in codes:
        for name in (code, f"{system}|{code}"):
            found.stretch(row.code, f"{name}{JOINT}{PLAIN}", stretch(number))
            for unit, factor in kept_units(value):
                found.stretch(row.code, f"{name}{JOINT}{unit}", stretch(times(number, factor)))


def _reference(row: Row, codes: list[tuple[str, str]], value: Any, found: Found) -> None:
    link = value.get("reference")
    if link is not None:
        for _, code in codes:
            found.value(row.code, f"{code}{JOINT}{plain(link)}")


_READERS = {
    "CodeableConcept": _concept,
    "Quantity": _quantity,
    "Reference": _reference,
    "SampledData": lambda *_: None,
}
