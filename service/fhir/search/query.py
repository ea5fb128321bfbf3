"""The parameters of a search -> a Query that the store can run."""

from collections.abc import Sequence
from dataclasses import replace

from service.basics.errors import Fault, Invalid
from service.basics.query import Criterion, Exact, Query
from service.basics.stored import Keys
from service.fhir import exact
from service.fhir.search.asked import BadValue, Place, Terms
from service.fhir.search.chains import criterion_of
from service.fhir.search.controls import CONTROLS, Draft
from service.fhir.search.hashed import key
from service.fhir.search.index import keys
from service.fhir.search.table import rows

_PRESENTATION = frozenset({"_format", "_pretty"})  # read where answers are written


def parse(
    organization: str,
    type_: str,
    params: Sequence[tuple[str, str]],
    *,
    strict: bool = False,
    base: str = "",
    terms: Terms | None = None,
) -> Query:
    """The query of (name, value) pairs, AND by repetition and OR by comma; base is our own base URL. Without a type
    (the whole system) the types are those of _type, or all, and only what all of them know can be asked.
    terms: the value sets and code systems that modifiers may name.

    Raises Invalid with every fault: a value or modifier that cannot be understood and, when strict, a parameter that
    is not known (else it is listed in Query.ignored). A parameter without a value is passed over."""
    if type_:
        return _of_type(Place(organization, type_, base, terms=terms), params, strict=strict)
    types, rest = _types(params)
    queries = [_of_type(Place(organization, one, base, terms=terms), rest, strict=True) for one in types]
    used = tuple((name, value) for name, value in params if value)
    return replace(queries[0], used=used, also=tuple(queries[1:]))


def _types(params: Sequence[tuple[str, str]]) -> tuple[list[str], list[tuple[str, str]]]:
    every = [type_ for type_ in rows() if type_ != "AuditEvent"]  # its lines are searched as they are kept
    wanted = {one for name, value in params if name == "_type" for one in value.split(",") if one}
    unknown = sorted(wanted - set(every))
    if unknown:
        raise Invalid(Fault("not-supported", f"_type names types that are not searched here: {', '.join(unknown)}"))
    return sorted(wanted or every), [(name, value) for name, value in params if name != "_type"]


def _of_type(place: Place, params: Sequence[tuple[str, str]], *, strict: bool) -> Query:
    draft, faults = Draft(place.type), list[Fault]()
    for name, value in params:
        if value == "" or name in _PRESENTATION:
            continue
        try:
            _read(draft, place, name=name, value=value)
        except BadValue as error:
            faults.append(Fault("not-supported" if "not offered" in str(error) else "value", str(error)))
    if strict:
        faults += [
            Fault("not-supported", f"the search parameter {name} is not known for {place.type}")
            for name in draft.ignored
        ]
    if faults:
        raise Invalid(*faults)

    def index(body: bytes) -> Keys:
        return keys(place.organization, exact.decode(body))

    return replace(draft.query(place), index=index)


def _read(draft: Draft, place: Place, *, name: str, value: str) -> None:
    code, _, modifier = name.partition(":")
    control = CONTROLS.get(code)
    if control is not None:
        if modifier and not (code in ("_include", "_revinclude") and modifier == "iterate"):
            raise BadValue(f"the modifier :{modifier} is not offered on {code}")
        control(draft, place, value, modifier)
    else:
        criterion = criterion_of(place, name, value)
        if criterion is None:
            draft.ignored.append(name)
            return
        draft.criteria.append(criterion)
    draft.used.append((name, value))


def pointing(organization: str, type_: str, code: str, references: Sequence[str]) -> Criterion:
    """Holds for what refers by a parameter to any of the references (Type/id)."""
    row = rows()[type_][code]
    return Exact(tuple(key(organization, type_, row.alias or row.code, one) for one in references))
