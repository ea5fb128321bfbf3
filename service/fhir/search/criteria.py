"""One parameter of a search with its values -> the criterion a resource must meet."""

import re
from dataclasses import dataclass

from service.basics.query import AnyPeriod, Criterion, Exact, Period, Starts
from service.fhir.search import dates
from service.fhir.search.hashed import coded, key
from service.fhir.search.references import plain
from service.fhir.search.table import Row
from service.fhir.search.text import fold
from service.fhir.search.values import bar, unescaped
from service.fhir.types import STORABLE

ID = re.compile(r"[A-Za-z0-9\-.]{1,64}")
TYPED = re.compile(r"[A-Z][A-Za-z]+/[A-Za-z0-9\-.]{1,64}")
_WITHOUT_SYSTEM = frozenset({"code", "boolean", "id", "string", "present", "ContactPoint"})


class BadValue(Exception):
    """The value or modifier cannot be understood; the message says why."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One parameter as asked: its row, the modifier, the alternatives of its value, and who asks on what base."""

    organization: str
    type: str
    row: Row
    modifier: str
    values: tuple[str, ...]
    base: str

    def key(self, value: str, *, suffix: str = "") -> int:
        """The key of a value of this parameter."""
        return key(self.organization, self.type, (self.row.alias or self.row.code) + suffix, value)


def criterion(asked: Asked) -> Criterion:
    """What must hold; raises BadValue for a modifier that is not offered or a value that makes no sense."""
    return _OF_KIND[asked.row.kind](asked)


def _no_modifier(asked: Asked, *offered: str) -> None:
    if asked.modifier and asked.modifier not in offered:
        known = ", ".join(f":{name}" for name in offered) or "none"
        raise BadValue(f"the modifier :{asked.modifier} is not offered on {asked.row.code} (offered: {known})")


def _token(asked: Asked) -> Criterion:
    _no_modifier(asked, "not")
    codes = asked.row.union or (asked.row.code,)
    values = [_token_value(asked.row, value) for value in asked.values]
    keys = tuple(key(asked.organization, asked.type, code, value) for code in codes for value in values)
    return Exact(keys, negated=asked.modifier == "not")


def _token_value(row: Row, value: str) -> str:
    system, code = bar(value)
    if not code:
        raise BadValue(f"{row.code} needs a code: code, system|code or |code")
    kinds = {path[-1] for path in row.paths}
    if kinds <= {"boolean", "present"} and code not in ("true", "false"):
        raise BadValue(f"{row.code} is true or false")
    if kinds <= _WITHOUT_SYSTEM and system in ("", row.implied):
        system = None
    return coded(system, code)


def _reference(asked: Asked) -> Criterion:
    if asked.modifier == "identifier":
        tokens = (bar(value) for value in asked.values)
        return Exact(tuple(asked.key(coded(system, code), suffix=":identifier") for system, code in tokens))
    if asked.modifier and asked.modifier not in STORABLE:
        _no_modifier(asked, "identifier", "[type]")
    return Exact(tuple(asked.key(link) for value in asked.values for link in _links(asked, unescaped(value))))


def _links(asked: Asked, value: str) -> list[str]:
    value = plain(value.removeprefix(f"{asked.base.rstrip('/')}/"))
    if TYPED.fullmatch(value):
        wanted = asked.modifier or asked.row.target
        if wanted and not value.startswith(f"{wanted}/"):
            raise BadValue(f"{asked.row.code} leads to a {wanted} here, not to {value.partition('/')[0]}")
        return [value]
    if ID.fullmatch(value):
        types = (asked.modifier or asked.row.target,) if asked.modifier or asked.row.target else asked.row.targets
        return [f"{type_}/{value}" for type_ in types or sorted(STORABLE)]
    if ":" in value:  # absolute, elsewhere
        return [value]
    raise BadValue(f"{asked.row.code} needs an id, Type/id or an absolute URL")


def _date(asked: Asked) -> Criterion:
    _no_modifier(asked)
    found: list[Period] = []
    for value in asked.values:
        prefix, stretch = dates.split(unescaped(value))
        if stretch is None:
            raise BadValue(f"{asked.row.code} needs a date such as 2026-11-25, ge2026-11 or lt2026-11-25T13:04:29Z")
        found += dates.periods(asked.key(""), prefix, stretch)
    return AnyPeriod(tuple(found))


def _string(asked: Asked) -> Criterion:
    _no_modifier(asked, "exact")
    texts = tuple(unescaped(value) for value in asked.values)
    if asked.modifier == "exact":
        return Exact(tuple(asked.key(text, suffix=":exact") for text in texts))
    return Starts(asked.key(""), tuple(fold(text) for text in texts))


def _uri(asked: Asked) -> Criterion:
    _no_modifier(asked)
    return Exact(tuple(asked.key(unescaped(value)) for value in asked.values))


_OF_KIND = {"token": _token, "reference": _reference, "date": _date, "string": _string, "uri": _uri}
