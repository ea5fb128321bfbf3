"""One indexed element of a resource -> its marks, a small reader for each pair of parameter kind and FHIR type."""

from collections.abc import Callable
from typing import Any

from service.basics.stored import Mark, TextMark
from service.fhir import moments
from service.fhir.search.hashed import coded, key
from service.fhir.search.references import leads_to, plain
from service.fhir.search.table import Row
from service.fhir.search.text import fold


class Found:
    """The marks of one resource while it is walked; `date` is the resource's own, in microseconds."""

    __slots__ = ("date", "marks", "organization", "texts", "type")

    def __init__(self, organization: str, type_: str, date: int) -> None:
        self.organization, self.type, self.date = organization, type_, date
        self.marks: set[Mark] = set()
        self.texts: set[TextMark] = set()

    def value(self, parameter: str, value: str) -> None:
        """The resource bears this value."""
        self.marks.add(Mark(key(self.organization, self.type, parameter, value), self.date, self.date))

    def stretch(self, parameter: str, stretch: moments.Range | None) -> None:
        """The resource bears this stretch of time."""
        if stretch is not None:
            self.marks.add(Mark(key(self.organization, self.type, parameter, ""), *stretch))

    def text(self, parameter: str, text: str) -> None:
        """The resource bears this text, to be found by its beginning or exactly."""
        self.texts.add(TextMark(key(self.organization, self.type, parameter, ""), fold(text)))
        self.value(f"{parameter}:exact", text)


Reader = Callable[[Any, Found], None]


def reader(row: Row, leaf: str) -> Reader:
    """What reads an element of FHIR type `leaf` for the parameter of `row`."""
    code = row.code
    return _MAKERS[row.kind, leaf](code, row) if (row.kind, leaf) in _MAKERS else _OF_KIND[row.kind](code, row)


def _coding(code: str, _: Row) -> Reader:
    def read(value: Any, found: Found) -> None:
        token = value.get("code")
        if token is not None:
            found.value(code, coded(None, token))
            found.value(code, coded(value.get("system", ""), token))

    return read


def _concept(code: str, row: Row) -> Reader:
    coding = _coding(code, row)

    def read(value: Any, found: Found) -> None:
        for one in value.get("coding", ()):
            coding(one, found)

    return read


def _identifier(code: str, _: Row) -> Reader:
    def read(value: Any, found: Found) -> None:
        number = value.get("value")
        if number is not None:
            found.value(code, coded(None, number))
            found.value(code, coded(value.get("system", ""), number))

    return read


def _contact(code: str, row: Row) -> Reader:
    def read(value: Any, found: Found) -> None:
        number = value.get("value")
        if number is not None and row.system in ("", value.get("system")):
            found.value(code, coded(None, number))

    return read


def _boolean(code: str, _: Row) -> Reader:
    return lambda value, found: found.value(code, "true" if value else "false")


def _present(code: str, _: Row) -> Reader:
    return lambda _value, found: found.value(code, "true")


def _word(code: str, _: Row) -> Reader:
    return lambda value, found: found.value(code, coded(None, value))


def _reference(code: str, row: Row) -> Reader:
    def read(value: Any, found: Found) -> None:
        if row.target and not leads_to(value, row.target):
            return
        link = value.get("reference")
        if link is not None and link[:1] != "#":
            found.value(code, plain(link))
        identifier = value.get("identifier")
        if identifier is not None and "value" in identifier:
            found.value(f"{code}:identifier", coded(None, identifier["value"]))
            found.value(f"{code}:identifier", coded(identifier.get("system", ""), identifier["value"]))

    return read


def _canonical(code: str, _: Row) -> Reader:
    def read(value: Any, found: Found) -> None:
        found.value(code, value)
        if "|" in value:
            found.value(code, value.partition("|")[0])

    return read


def _date(code: str, _: Row) -> Reader:
    return lambda value, found: found.stretch(code, moments.of(value))


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


_OF_KIND = {"token": _word, "reference": _canonical, "date": _date, "string": _string, "uri": _uri}
_MAKERS = {
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
}
