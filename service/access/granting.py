"""What a person wants to grant, checked: scopes whose search parameters are there, and a role."""

from collections.abc import Sequence

from service.access import roles, scopes
from service.basics.errors import Fault, Invalid
from service.fhir import search

EVERYTHING = "system/*.cruds"


def granted(organization: str, wanted: Sequence[str], *, role: str, party: str) -> tuple[str, ...]:
    """The scopes of a token to be made, all that its role may when none are named; raises Invalid with every fault."""
    faults: list[Fault] = [Fault("value", text) for text in roles.faults(role, party)]
    found: tuple[str, ...] = ()
    try:
        found = scopes.checked(wanted or ([EVERYTHING] if role else []))
        searchable(organization, found)
    except Invalid as refusal:
        faults += refusal.faults
    if faults:
        raise Invalid(*faults)
    return found


def searchable(organization: str, wanted: tuple[str, ...]) -> None:
    """Raise Invalid for scopes that are narrowed by what their type is not searched by."""
    faults: list[Fault] = []
    for one in wanted:
        scope = scopes.understood(one)
        if scope is None or not scope.limit:
            continue
        try:
            search.parse(organization, scope.type, scope.limit, strict=True)
        except (Invalid, KeyError) as refusal:
            told = refusal.faults if isinstance(refusal, Invalid) else (Fault("value", "it is not searched here"),)
            faults += [Fault("value", f"{one}: {fault.text}") for fault in told]
    if faults:
        raise Invalid(*faults)
