"""A code and its value asked for in one element -> the criterion on the marks of pairs."""

from service.basics.query import AnyPeriod, Criterion, Exact, Period
from service.fhir.search import amounts
from service.fhir.search.asked import Asked, BadValue
from service.fhir.search.hashed import key, paired
from service.fhir.search.hashed import system as system_number
from service.fhir.search.measured import amount
from service.fhir.search.pairs import JOINT
from service.fhir.search.pointed import links
from service.fhir.search.table import Row, rows
from service.fhir.search.tokens import spelt, without
from service.fhir.search.values import bar, unescaped


def paired_criterion(asked: Asked, code: Row, value: Row, *, parts: tuple[str, str]) -> Criterion:
    """What must hold of one element; raises BadValue where a part makes no sense."""
    system, text = bar(parts[0])
    if not text:
        raise BadValue(f"{asked.row.code} needs a code before the dollar sign")
    wanted = without(code, system), spelt(code, text)
    # combined parameters are found under the keys of the one that has this element alone
    kept = next(
        row for row in rows()[asked.place.type].values() if [p[1:] for p in row.pairs] == [(code.code, value.code)]
    )
    if value.kind == "token":
        return _concept(asked, kept, wanted, value=parts[1])
    if value.kind == "quantity":
        return _quantity(asked, kept, wanted, value=parts[1])
    there = Asked(asked.place, value, "", (parts[1],))
    return Exact(tuple(_key(asked, kept, f"{wanted[1]}{JOINT}{link}") for link in links(there, unescaped(parts[1]))))


def _key(asked: Asked, kept: Row, value: str) -> int:
    return key(asked.place.organization, asked.place.type, kept.code, value)


def _concept(asked: Asked, kept: Row, code: tuple[str | None, str], *, value: str) -> Criterion:
    system, text = bar(value)
    if not text:
        raise BadValue(f"{asked.row.code} needs a code after the dollar sign")
    low, last = paired(text.casefold(), system)
    number = None if code[0] is None else system_number(code[0])
    return AnyPeriod((Period(_key(asked, kept, code[1]), low, last, number, number),))


def _quantity(asked: Asked, kept: Row, code: tuple[str | None, str], *, value: str) -> Criterion:
    prefix, wanted, units = amount(asked.row.code, value)
    name = code[1] if code[0] is None else f"{code[0]}|{code[1]}"
    found: list[Period] = []
    for unit, factor in units:
        found += amounts.periods(_key(asked, kept, f"{name}{JOINT}{unit}"), prefix, wanted, factor)
    return AnyPeriod(tuple(found))
