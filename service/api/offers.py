"""The table of everything that is offered: it routes, it declares, and nothing outside it is answered."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from service.api.types import READ_ONLY
from service.fhir.operations import ALL, CHECK
from service.fhir.operations import EXAM as _EXAM
from service.fhir.types import DIRECTORY

EXAM: Mapping[str, str] = {one.name: one.url for one in _EXAM}
"""The operations on a Task, with their definitions."""


@dataclass(frozen=True, slots=True)
class Offer:
    """One interaction: R4's code for it (restful-interaction, or operation with its name) and what it takes.

    letter: the scope it needs on its type. body: "" none, "json" a resource, "patch" a JSON Patch, "bundle" a Bundle,
    "form" search parameters, "perhaps" a resource or nothing. writes: it changes something. only: the types that have
    it, all when empty; never: the types that don't. files: it answers with a file unless FHIR is asked for."""

    code: str
    letter: str = ""
    body: str = ""
    writes: bool = False
    only: frozenset[str] = frozenset()
    never: frozenset[str] = frozenset()
    operation: str = ""
    files: bool = False

    def on(self, type_: str) -> bool:
        """Whether the type has it."""
        return type_ not in self.never and (not self.only or type_ in self.only)


_UPDATE = Offer("update", "u", body="json", writes=True, never=READ_ONLY)
_PATCH = Offer("patch", "u", body="patch", writes=True, never=READ_ONLY)
_DELETE = Offer("delete", "d", writes=True, only=DIRECTORY)
_VALIDATE = Offer("operation", body="json", operation="validate")


def _looking(name: str, letter: str, type_: str, *, files: bool = False) -> Mapping[str, Offer]:
    """An operation on one type that only looks: by GET with its parameters in the URL, or by POST with Parameters."""
    offer = Offer("operation", letter, only=frozenset({type_}), operation=name, files=files)
    return {"GET": offer, "POST": replace(offer, body="perhaps")}


PLACES: Mapping[str, Mapping[str, Offer]] = {
    "": {"GET": Offer("search-system"), "POST": Offer("transaction", body="bundle", writes=True)},
    "/_search": {"POST": Offer("search-system", body="form")},
    "/metadata": {"GET": Offer("capabilities")},
    "/_history": {"GET": Offer("history-system", "s")},
    "/{type}": {
        "GET": Offer("search-type", "s"),
        "POST": Offer("create", "c", body="json", writes=True, never=READ_ONLY),
        "PUT": _UPDATE,
        "PATCH": _PATCH,
        "DELETE": _DELETE,
    },
    "/{type}/_search": {"POST": Offer("search-type", "s", body="form")},
    "/{within}/{id}/{type}": {"GET": Offer("search-type", "s", never=READ_ONLY)},
    "/{within}/{id}/{type}/_search": {"POST": Offer("search-type", "s", body="form", never=READ_ONLY)},
    "/{type}/_history": {"GET": Offer("history-type", "s", never=READ_ONLY)},
    "/{type}/$validate": {"POST": _VALIDATE},
    "/{type}/$lastn": _looking("lastn", "s", "Observation"),
    f"/{{type}}/${CHECK.name}": {
        "POST": Offer("operation", "u", body="perhaps", writes=True, only=frozenset({"Task"}), operation=CHECK.name)
    },
    "/{type}/{id}": {"GET": Offer("read", "r"), "PUT": _UPDATE, "PATCH": _PATCH, "DELETE": _DELETE},
    "/{type}/{id}/_history": {"GET": Offer("history-instance", "r", never=READ_ONLY)},
    "/{type}/{id}/_history/{version}": {"GET": Offer("vread", "r", never=READ_ONLY)},
    "/{type}/{id}/$validate": {"POST": _VALIDATE},
    "/{type}/{id}/$meta": {"GET": Offer("operation", "r", never=READ_ONLY, operation="meta")},
    **{
        f"/{{type}}/{{id}}/${name}": {
            "POST": Offer("operation", "u", body="perhaps", writes=True, never=READ_ONLY, operation=name)
        }
        for name in ("meta-add", "meta-delete")
    },
    "/{type}/{id}/$everything": _looking("everything", "r", "Patient"),
    "/{type}/{id}/$document": _looking("document", "r", "Composition"),
    "/{type}/{id}/$as-document": _looking("as-document", "r", "DiagnosticReport"),
    "/{type}/$status": _looking("status", "r", "Subscription"),
    "/{type}/{id}/$status": _looking("status", "r", "Subscription"),
    "/{type}/{id}/$events": _looking("events", "r", "Subscription"),
    "/{type}/{id}/$form": _looking("form", "r", "DiagnosticReport", files=True),
    "/{type}/{id}/$print": _looking("print", "r", "Invoice", files=True),
    **{
        f"/{{type}}/{{id}}/${name}": {
            "POST": Offer("operation", "u", body="perhaps", writes=True, only=frozenset({"Task"}), operation=name)
        }
        for name in EXAM
    },
}
"""Path below the base -> method -> what is offered there."""


def methods(template: str, type_: str) -> list[str]:
    """The methods of a path on a type ("" at the system's level); HEAD is there wherever GET is."""
    found = [method for method, offer in PLACES[template].items() if offer.on(type_)]
    return found + ["HEAD"] * ("GET" in found)


def codes(type_: str, level: str) -> list[str]:
    """R4's codes of what is offered on a type: level "type" for all of its paths, "system" for the base itself."""
    places = [offers for path, offers in PLACES.items() if path.startswith("/{") == (level == "type")]
    found = {o.code for offers in places for o in offers.values() if o.on(type_)}
    return sorted(found - {"operation", "capabilities"})


def operations(type_: str) -> list[tuple[str, str]]:
    """(name, URL of its definition) of the operations that a type has."""
    named = {o.operation for offers in PLACES.values() for o in offers.values() if o.operation and o.on(type_)}
    return [(one.name, one.url) for one in ALL if one.name in named]
