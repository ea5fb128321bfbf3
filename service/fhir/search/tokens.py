"""Tokens asked for -> the criterion: code, system|code, |code, system|, and what modifiers make of them."""

import re
from collections.abc import Iterator, Sequence

from service.basics.query import AnyPeriod, Criterion, Exact, Period, Reads
from service.fhir.search.asked import Asked, BadValue, Terms
from service.fhir.search.elements import said
from service.fhir.search.hashed import system as system_number
from service.fhir.search.table import Row
from service.fhir.search.text import fold
from service.fhir.search.values import bar, bars, unescaped

_MOST = 1000
_WITHOUT_SYSTEM = frozenset({"code", "boolean", "id", "string", "present", "ContactPoint"})


def token(asked: Asked) -> Criterion:
    """What must hold of the codes, identifiers or flags of a resource."""
    kinds = {path[-1] for path in asked.row.paths}
    coded = ("in", "not-in", "above", "below") if kinds & {"CodeableConcept", "Coding"} else ()
    worded = ("text",) if kinds - _WITHOUT_SYSTEM else ()
    asked.only("not", *worded, *coded, *(("of-type",) if "Identifier" in kinds else ()))
    if asked.modifier in ("in", "above", "below"):
        return _either([found for value in asked.values for found in _of_terms(asked, kinds, value)])
    if asked.modifier == "text":
        return _text(asked)
    if asked.modifier == "of-type":
        return AnyPeriod(tuple(_of_type(asked, value) for value in asked.values))
    return _either([_one(asked, kinds, value) for value in asked.values])


def _either(found: Sequence[int | Period]) -> Criterion:
    """Any of the keys, some of them bound to a code system."""
    if len(found) > _MOST:
        raise BadValue(f"that would be more than {_MOST} codes: ask in parts")
    if all(isinstance(one, int) for one in found):
        return Exact(tuple(one for one in found if isinstance(one, int)))
    return AnyPeriod(tuple(Period(one) if isinstance(one, int) else one for one in found))


def _of_terms(asked: Asked, kinds: set[str], value: str) -> Iterator[int | Period]:
    """The codes of a value set, or those above or below a code."""
    if asked.place.terms is None:
        raise BadValue(f"the modifier :{asked.modifier} is not offered here; name the codes themselves")
    for system, code in _members(asked.place.terms, asked.modifier, unescaped(value)):
        text = f"{_escaped(system)}|{_escaped(code)}"
        yield _one(asked, kinds, text)


def _members(terms: Terms, modifier: str, value: str) -> Sequence[tuple[str, str]]:
    if modifier == "in":
        found = terms.members(value)
        if found is None:
            raise BadValue(f"no value set {value} is known here; GET ValueSet lists those that are")
        return found
    system, code = bar(value)
    if not system or not code:
        raise BadValue(f":{modifier} needs system|code")
    kin = terms.kin(system, code, above=modifier == "above")
    if kin is None:
        text = f"what stands above and below {code} in {system} is not known here"
        raise BadValue(f"{text}: it is for the systems that GET CodeSystem lists; name the codes themselves")
    return [(system, one) for one in kin]


def _escaped(text: str) -> str:
    return re.sub(r"([\\|$,])", r"\\\1", text)


def _one(asked: Asked, kinds: set[str], value: str) -> int | Period:
    """The key alone, or a key with the code system that its mark must bear."""
    system, code = bar(value)
    if not code:
        if not system or kinds <= _WITHOUT_SYSTEM:
            raise BadValue(f"{asked.row.code} needs a code: code, system|code or |code")
        return asked.key(system, suffix=":system")
    return pinned(asked.key(spelt(asked.row, code)), without(asked.row, system))


def spelt(row: Row, code: str) -> str:
    """The code as it is kept; raises BadValue for a flag that is neither true nor false."""
    if {path[-1] for path in row.paths} <= {"boolean", "present"} and code not in ("true", "false"):
        raise BadValue(f"{row.code} is true or false")
    return code if row.exact_case else code.casefold()


def without(row: Row, system: str | None) -> str | None:
    """The system to compare: None where the elements have none and the one asked for is the one they stand for."""
    stands_alone = {path[-1] for path in row.paths} <= _WITHOUT_SYSTEM
    return None if stands_alone and system in ("", row.implied) else system


def pinned(key: int, system: str | None) -> int | Period:
    """A key, bound to a code system unless that is None."""
    if system is None:
        return key
    number = system_number(system)
    return Period(key, high_from=number, high_to=number)


def _of_type(asked: Asked, value: str) -> Period:
    parts = bars(value)
    if len(parts) != 3 or not all(parts[1:]):
        raise BadValue(f"{asked.row.code}:of-type needs system|code|value of the identifier's type")
    number = system_number(parts[0])
    return Period(asked.key(f"{parts[1].casefold()}|{parts[2]}", suffix=":of-type"), high_from=number, high_to=number)


def _text(asked: Asked) -> Criterion:
    wanted = tuple(fold(unescaped(value)) for value in asked.values)
    paths = asked.row.paths
    return Reads(lambda body: any(fold(text).startswith(wanted) for text in said(body, paths)))
