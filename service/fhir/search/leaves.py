"""One indexed element of a resource -> its marks, a small reader for each pair of parameter kind and FHIR type."""

from collections.abc import Callable
from typing import Any

from service.fhir import moments
from service.fhir.search.found import Found
from service.fhir.search.quantities import read_number, read_quantity, read_range
from service.fhir.search.references import leads_to, plain
from service.fhir.search.table import Row, shadows

Reader = Callable[[Any, Found], object]
"""Reads an element into marks; False when it turned out not to be one that the parameter means."""


def reader(type_: str, row: Row, leaf: str) -> Reader:
    """What reads an element of FHIR type `leaf` for the parameter of `row`, and notes that there is one."""
    make = _MAKERS.get((row.kind, leaf)) or _OF_KIND[row.kind]
    read, bit = make(row.code, row), row.bit
    others = tuple((other.target, other.bit) for other in shadows(type_, row.code))

    def reading(value: Any, found: Found) -> None:
        if read(value, found) is not False:
            found.present |= bit
            for target, shadow in others:
                if leads_to(value, target):
                    found.present |= shadow

    return reading


def _coding(code: str, row: Row) -> Reader:
    systems = f"{code}:system"

    def read(value: Any, found: Found) -> None:
        token, system = value.get("code"), value.get("system", "")
        if token is not None:
            found.token(code, system, token.casefold())
        if system:
            found.value(systems, system)

    return read


def _concept(code: str, row: Row) -> Reader:
    coding = _coding(code, row)

    def read(value: Any, found: Found) -> None:
        for one in value.get("coding", ()):
            coding(one, found)

    return read


def _identifier(code: str, _: Row) -> Reader:
    systems, kinds = f"{code}:system", f"{code}:of-type"

    def read(value: Any, found: Found) -> None:
        number, system = value.get("value"), value.get("system", "")
        if system:
            found.value(systems, system)
        if number is None:
            return
        found.token(code, system, number)
        for kind in value["type"].get("coding", ()) if "type" in value else ():
            if "code" in kind:
                found.token(kinds, kind.get("system", ""), f"{kind['code'].casefold()}|{number}")

    return read


def _contact(code: str, row: Row) -> Reader:
    def read(value: Any, found: Found) -> object:
        number = value.get("value")
        if row.system not in ("", value.get("system")):
            return False
        if number is not None:
            found.token(code, "", number.casefold())
        return None

    return read


def _boolean(code: str, _: Row) -> Reader:
    return lambda value, found: found.token(code, "", "true" if value else "false")


def _present(code: str, _: Row) -> Reader:
    return lambda _value, found: found.token(code, "", "true")


def _word(code: str, row: Row) -> Reader:
    if row.exact_case:
        return lambda value, found: found.token(code, "", value)
    return lambda value, found: found.token(code, "", value.casefold())


def _reference(code: str, row: Row) -> Reader:
    identifiers = f"{code}:identifier"

    def read(value: Any, found: Found) -> object:
        if row.target and not leads_to(value, row.target):
            return False
        link = value.get("reference")
        if link is not None and link[:1] != "#":
            found.value(code, plain(link))
        identifier = value.get("identifier")
        if identifier is not None and "value" in identifier:
            found.token(identifiers, identifier.get("system", ""), identifier["value"])
        return None

    return read


def _canonical(code: str, _: Row) -> Reader:
    def read(value: Any, found: Found) -> None:
        found.value(code, value)
        if "|" in value:
            found.value(code, value.partition("|")[0])

    return read


def _date(code: str, _: Row) -> Reader:
    return lambda value, found: found.stretch(code, "", moments.of(value))


def _uri(code: str, _: Row) -> Reader:
    return lambda value, found: found.value(code, value)


def _string(code: str, _: Row) -> Reader:
    return lambda value, found: found.text(code, value)


def _parts(*names: str) -> Callable[[str, Row], Reader]:
    def make(code: str, _: Row) -> Reader:
        def read(value: Any, found: Found) -> None:
            for name in names:
                part = value.get(name, ())
                for text in (part,) if isinstance(part, str) else part:
                    if text is not None:
                        found.text(code, text)

        return read

    return make


def _number(code: str, _: Row) -> Reader:
    return lambda value, found: read_number(code, value, found)


def _quantity(code: str, _: Row) -> Reader:
    return lambda value, found: read_quantity(code, value, found)


def _range(code: str, _: Row) -> Reader:
    return lambda value, found: read_range(code, value, found)


_OF_KIND: dict[str, Callable[[str, Row], Reader]] = {
    "token": _word,
    "reference": _canonical,
    "date": _date,
    "string": _string,
    "uri": _uri,
    "number": _number,
    "quantity": _quantity,
}
_MAKERS: dict[tuple[str, str], Callable[[str, Row], Reader]] = {
    ("token", "CodeableConcept"): _concept,
    ("token", "Coding"): _coding,
    ("token", "Identifier"): _identifier,
    ("token", "ContactPoint"): _contact,
    ("token", "boolean"): _boolean,
    ("token", "present"): _present,
    ("reference", "Reference"): _reference,
    ("uri", "canonical"): _canonical,
    ("string", "HumanName"): _parts("text", "family", "given", "prefix", "suffix"),
    ("string", "Address"): _parts("text", "line", "city", "district", "state", "postalCode", "country"),
    ("quantity", "Range"): _range,
}
