"""The parameters of a search of definitions -> which of them are wanted; they are few, and looked at one by one."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from service.basics.errors import Fault, Invalid
from service.fhir import uris
from service.fhir.partial import elements
from service.fhir.search.asked import BadValue
from service.fhir.search.text import fold
from service.fhir.search.values import alternatives, bar, unescaped

LARGEST_PAGE = 500
_PRESENTATION = frozenset({"_format", "_pretty"})
_STRINGS: Mapping[str, Callable[[str, str], bool]] = {
    "": lambda have, want: fold(have).startswith(fold(want)),
    "contains": lambda have, want: fold(want) in fold(have),
    "exact": lambda have, want: have == want,
}
_OWN_SET = frozenset({"ChargeItemDefinition", "PlanDefinition"})
_KINDS: Mapping[str, str] = {
    "_id": "token",
    "name": "string",
    "status": "token",
    "title": "string",
    "url": "uri",
    "version": "token",
}
_ALSO: Mapping[str, Mapping[str, str]] = {
    "OperationDefinition": {"code": "token"},
    "SearchParameter": {"base": "token", "code": "token", "type": "token"},
    "StructureDefinition": {"type": "uri"},
}
_WITHOUT: Mapping[str, frozenset[str]] = {
    "ChargeItemDefinition": frozenset({"name"}),
    "SearchParameter": frozenset({"title"}),
}


def kinds(type_: str) -> dict[str, str]:
    """Parameter -> kind (token, string, uri), of a type that defines something."""
    found = {**_KINDS, **_ALSO.get(type_, {})}
    return {code: kind for code, kind in sorted(found.items()) if code not in _WITHOUT.get(type_, ())}


def parameters(type_: str) -> tuple[tuple[str, str, str], ...]:
    """(name, kind, definition URL) of every parameter that a search of this type understands."""
    return tuple((code, kind, _url(type_, code)) for code, kind in kinds(type_).items())


def _url(type_: str, code: str) -> str:
    if code == "_id":
        return f"{uris.SEARCH_PARAMETER}Resource-id"
    alone = type_ in _OWN_SET or code in _ALSO.get(type_, {})
    return f"{uris.SEARCH_PARAMETER}{type_ if alone else 'conformance'}-{code}"


@dataclass(slots=True)
class Published:
    """What was asked: tests that a definition must all pass, how many on a page, and what was (not) understood."""

    type: str
    tests: list[Callable[[Mapping[str, Any]], bool]] = field(default_factory=list)
    count: int = 50
    total: bool = True
    summary: str = ""  # true, text or data; count is only_counted
    elements: tuple[str, ...] = ()
    only_counted: bool = False
    used: list[tuple[str, str]] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)

    def holds(self, resource: Mapping[str, Any]) -> bool:
        """Whether a definition is wanted."""
        return all(test(resource) for test in self.tests)


def parse(type_: str, params: Sequence[tuple[str, str]], *, strict: bool = False) -> Published:
    """The search of (name, value) pairs, AND by repetition and OR by comma.

    Raises Invalid with every fault: a value or modifier that cannot be understood, and, when strict, a parameter that
    is not known."""
    found, faults = Published(type_), []
    for name, value in params:
        if value == "" or name in _PRESENTATION:
            continue
        try:
            _read(found, name, value)
        except BadValue as error:
            faults.append(Fault("not-supported" if "not offered" in str(error) else "value", str(error)))
    if strict:
        text = f"is not known for {type_}"
        faults += [Fault("not-supported", f"the search parameter {one} {text}") for one in found.ignored]
    if faults:
        raise Invalid(*faults)
    return found


def _read(found: Published, name: str, value: str) -> None:
    code, _, modifier = name.partition(":")
    kind = kinds(found.type).get(code)
    if code in _CONTROLS:
        if modifier:
            raise BadValue(f"the modifier :{modifier} is not offered on {code}")
        _CONTROLS[code](found, value)
    elif kind:
        found.tests.append(_test(code, kind, modifier, value))
    else:
        found.ignored.append(name)
        return
    found.used.append((name, value))


def _test(code: str, kind: str, modifier: str, value: str) -> Callable[[Mapping[str, Any]], bool]:
    if modifier not in (_STRINGS if kind == "string" else {""}):
        raise BadValue(f"the modifier :{modifier} is not offered on {code}")
    given = alternatives(value)
    if not given:
        raise BadValue(f"{code} needs a value")
    element = "id" if code == "_id" else code
    wanted = [_code(one) if kind == "token" and code != "_id" else unescaped(one) for one in given]
    same = _STRINGS[modifier] if kind == "string" else str.__eq__

    def test(resource: Mapping[str, Any]) -> bool:
        held = resource.get(element, [])
        values = held if isinstance(held, list) else [held]
        return any(same(str(have), want) for have in values for want in wanted)

    return test


def _code(value: str) -> str:
    """The code of a token; these elements are codes of one system each, which need not be said."""
    return bar(value)[1]


def _count(found: Published, value: str) -> None:
    if not (value.isascii() and value.isdigit() and len(value) < 10):
        raise BadValue("_count needs a whole number that is not negative")
    found.count = min(int(value), LARGEST_PAGE)
    found.only_counted = found.only_counted or int(value) == 0


def _summary(found: Published, value: str) -> None:
    if value not in ("true", "text", "data", "count", "false"):
        raise BadValue("_summary is one of true, text, data, count, false")
    found.only_counted = found.only_counted or value == "count"
    found.summary = value if value in ("true", "text", "data") else ""


def _elements(found: Published, value: str) -> None:
    wanted = [name.removeprefix(f"{found.type}.") for name in value.split(",") if name]
    unknown = [name for name in wanted if name not in elements(found.type)]
    if unknown or not wanted:
        raise BadValue(f"_elements names what {found.type} does not have: {', '.join(unknown) or value}")
    found.elements += tuple(wanted)


def _total(found: Published, value: str) -> None:
    if value not in ("none", "estimate", "accurate"):
        raise BadValue("_total is none, estimate or accurate")
    found.total = value != "none"


_CONTROLS: Mapping[str, Callable[[Published, str], None]] = {
    "_count": _count,
    "_elements": _elements,
    "_summary": _summary,
    "_total": _total,
}
