"""One request as the interactions see it: who asks for what, with its body read and its parameters apart."""

from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl

from service.access import scopes
from service.actions.ports import Caller, View
from service.api import narrow
from service.api.kit import Kit
from service.basics.errors import Fault, Invalid
from service.fhir import exact

PAGE = "_page"
_FORM_KEYS = {"_format", "_pretty"}
_FIELDS = 200


@dataclass(frozen=True, slots=True)
class Ask:
    """type, id and version come from the path ("" when it has none); params leave out _format and _pretty.

    within: Type/id of the compartment that is searched, "" for everything."""

    kit: Kit
    caller: Caller
    interaction: str
    type: str
    id: str
    version: str
    params: Sequence[tuple[str, str]]
    headers: Mapping[str, str]
    body: bytes = b""
    within: str = ""

    @property
    def base(self) -> str:
        """Our own base URL."""
        return self.kit.house.base

    def looking(self, *, narrowly: bool = False) -> AbstractContextManager[View]:
        """A look at what the caller may see: of its organisation, and no more than its scopes show.

        narrowly: the search leads through types that the scopes don't show."""
        opened = self.kit.books.view(self.caller.organization)
        limited = narrowly or scopes.narrowed(self.caller.scopes)
        return narrow.through(opened, self.caller) if limited else opened

    def resource(self) -> dict[str, Any]:
        """The body as a resource; raises Invalid when it isn't one JSON object with a resourceType."""
        value = exact.decode(self.body)
        if not isinstance(value, dict) or not isinstance(value.get("resourceType"), str):
            raise Invalid(Fault("structure", 'The body must be one FHIR resource: {"resourceType": "...", ...}.'))
        return value

    def once(self, name: str) -> str:
        """The value of a parameter that may be given at most once; "" when it isn't there."""
        found = [value for key, value in self.params if key == name]
        if len(found) > 1:
            raise Invalid(Fault("invalid", f"{name} can be given once only.", name))
        return found[0] if found else ""


def pairs(text: str) -> list[tuple[str, str]]:
    """The (name, value) pairs of a query string or form, in order; raises Invalid when not UTF-8 or endless."""
    try:
        found = parse_qsl(text, keep_blank_values=True, max_num_fields=_FIELDS, errors="strict")
    except ValueError as e:
        raise Invalid(
            Fault("invalid", f"The parameters can't be read: at most {_FIELDS} of them, in UTF-8, percent-encoded.")
        ) from e
    if any("\0" in name or "\0" in value for name, value in found):
        raise Invalid(Fault("invalid", "The parameters hold a NUL character."))
    return found


def content(params: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """The parameters without those that only say how the answer shall look."""
    return [(name, value) for name, value in params if name not in _FORM_KEYS]
