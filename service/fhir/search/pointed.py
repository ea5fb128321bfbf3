"""References asked for -> the criterion: id, Type/id, our own or a foreign URL, or the identifier of what is meant."""

from service.basics.query import AnyPeriod, Criterion, Exact, Period
from service.fhir.search.asked import ID, TYPED, Asked, BadValue
from service.fhir.search.references import plain
from service.fhir.search.tokens import pinned
from service.fhir.search.values import bar, unescaped
from service.fhir.types import STORABLE


def reference(asked: Asked) -> Criterion:
    """What must hold of the references of a resource."""
    if asked.modifier == "identifier":
        return AnyPeriod(tuple(_identified(asked, value) for value in asked.values))
    if asked.modifier and asked.modifier not in STORABLE:
        asked.only("identifier", "[type]")
    return Exact(tuple(asked.key(link) for value in asked.values for link in links(asked, unescaped(value))))


def _identified(asked: Asked, value: str) -> Period:
    system, number = bar(value)
    if not number:
        raise BadValue(f"{asked.row.code}:identifier needs system|value or value")
    found = pinned(asked.key(number, suffix=":identifier"), system)
    return found if isinstance(found, Period) else Period(found)


def links(asked: Asked, value: str) -> list[str]:
    """The references that a value may stand for; raises BadValue when there can be none."""
    value = plain(value.removeprefix(f"{asked.place.base.rstrip('/')}/"))
    if TYPED.fullmatch(value):
        wanted = asked.modifier or asked.row.target
        if wanted and not value.startswith(f"{wanted}/"):
            raise BadValue(f"{asked.row.code} leads to a {wanted} here, not to {value.partition('/')[0]}")
        return [value]
    if ID.fullmatch(value):
        return [f"{type_}/{value}" for type_ in targets(asked)]
    if ":" in value:  # absolute, elsewhere
        return [value]
    raise BadValue(f"{asked.row.code} needs an id, Type/id or an absolute URL")


def targets(asked: Asked) -> tuple[str, ...]:
    """The types that the references asked for may lead to."""
    one = asked.modifier or asked.row.target
    return (one,) if one else asked.row.targets or tuple(sorted(STORABLE))
