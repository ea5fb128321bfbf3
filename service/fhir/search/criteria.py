"""One parameter of a search with its values -> the criterion a resource must meet."""

from collections.abc import Callable
from dataclasses import replace

from service.basics.query import Absent, Both, Criterion, Either, Not
from service.fhir.search.asked import Asked, BadValue
from service.fhir.search.composites import paired_criterion
from service.fhir.search.measured import date, number, quantity
from service.fhir.search.pointed import reference
from service.fhir.search.spelt import string, uri
from service.fhir.search.table import rows
from service.fhir.search.tokens import token
from service.fhir.search.values import dollar

_OPPOSITE = {"not": "", "not-in": "in"}


def criterion(asked: Asked) -> Criterion:
    """What must hold; raises BadValue for a modifier that is not offered or a value that makes no sense."""
    if asked.modifier == "missing":
        return _missing(asked)
    if asked.row.kind == "token" and asked.modifier in _OPPOSITE:
        return Not(criterion(replace(asked, modifier=_OPPOSITE[asked.modifier])))
    if asked.row.union:
        known = rows()[asked.place.type]
        return Either(tuple(criterion(replace(asked, row=known[part])) for part in asked.row.union))
    return _OF_KIND[asked.row.kind](asked)


def _missing(asked: Asked) -> Criterion:
    if asked.row.kind == "composite":
        raise BadValue(f"the modifier :missing is not offered on {asked.row.code}")
    if asked.values not in (("true",), ("false",)):
        raise BadValue(f"{asked.row.code}:missing is true or false")
    absent = Absent(asked.row.bit)
    return absent if asked.values == ("true",) else Not(absent)


def _composite(asked: Asked) -> Criterion:
    asked.only()
    known, found = rows()[asked.place.type], list[Criterion]()
    for value in asked.values:
        parts = dollar(value)
        if len(parts) != 2:
            raise BadValue(f"{asked.row.code} needs two values with a dollar sign between them")
        for holder, code, other in asked.row.pairs:
            if holder:
                found.append(paired_criterion(asked, known[code], known[other], parts=(parts[0], parts[1])))
            else:
                both = (replace(asked, row=known[c], values=(p,)) for c, p in zip((code, other), parts, strict=True))
                found.append(Both(tuple(criterion(one) for one in both)))
    return found[0] if len(found) == 1 else Either(tuple(found))


_OF_KIND: dict[str, Callable[[Asked], Criterion]] = {
    "token": token,
    "reference": reference,
    "date": date,
    "string": string,
    "uri": uri,
    "number": number,
    "quantity": quantity,
    "composite": _composite,
}
