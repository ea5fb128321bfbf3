"""A record system's CapabilityStatement into what it takes, and into what keeps a form of delivery from working."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from service.basics.destination import Terms

Json = dict[str, Any]
OWNED = ("Patient", "ServiceRequest")  # what is looked for there and never written


@dataclass(frozen=True, slots=True)
class Offered:
    """What it does with one type; searches: names of search parameters it says it knows."""

    interactions: frozenset[str]
    searches: frozenset[str]
    conditional_update: bool
    operations: frozenset[str]


@dataclass(frozen=True, slots=True)
class Capability:
    """What a CapabilityStatement promises. Servers promise what they don't keep: a delivery is the only proof."""

    name: str
    release: str
    formats: tuple[str, ...]
    system: frozenset[str]  # transaction, batch
    operations: frozenset[str]
    types: Mapping[str, Offered] = field(default_factory=dict)


def read(statement: Json) -> Capability:
    """The statement as it concerns whoever delivers."""
    rest = next((one for one in _dicts(statement.get("rest")) if one.get("mode", "server") == "server"), {})
    software = statement.get("software") or statement.get("implementation") or {}
    name = software.get("name") or software.get("description") or statement.get("name") or "unnamed"
    return Capability(
        name=str(name),
        release=str(statement.get("fhirVersion", "")),
        formats=tuple(str(one) for one in statement.get("format", [])),
        system=_codes(rest),
        operations=_operations(rest),
        types={str(one.get("type")): _offered(one) for one in _dicts(rest.get("resource"))},
    )


def obstacles(found: Capability, form: str, terms: Terms) -> list[str]:
    """What keeps a form from working there, a line for each; none when all that it needs is promised."""
    if form == "webhook":
        return []
    return [*_release(found), *_of_form(found, form, written_types(terms))]


def written_types(terms: Terms) -> list[str]:
    """The types that the terms let go out most often; a practice's Organization goes along."""
    usual = ("DiagnosticReport", "Observation", "ChargeItem", "Invoice", "Task", "Procedure", "Media", "Communication")
    return [*(one for one in usual if terms.wants(one)), "Organization"]


def _release(found: Capability) -> Iterator[str]:
    if not found.release.startswith(("4.0", "4.3")):  # R4B has the same elements in all that is sent
        yield f"it speaks FHIR {found.release or 'of no stated release'}, and what is sent is R4 (4.0.1)"
    if found.formats and not any("json" in one for one in found.formats):
        yield f"it takes {', '.join(found.formats)}, and what is sent is JSON"


def _of_form(found: Capability, form: str, types: Iterable[str]) -> Iterator[str]:
    if form in ("transaction", "batch") and form not in found.system:
        yield f"it does not say that it takes a {form}"
    if form == "message" and "process-message" not in found.operations:
        yield "it does not say that it has the operation $process-message"
    if form == "document":
        yield from _lacking(found, ["Bundle"], "create")
    if form in ("transaction", "batch", "single"):
        yield from _unconditional(found, types)
    if form in ("batch", "single", "search"):
        yield from _unsearchable(found, OWNED)
    if form == "search":
        yield from _lacking(found, types, "create", "update", "search-type")
        yield from _unsearchable(found, types)


def _unconditional(found: Capability, types: Iterable[str]) -> Iterator[str]:
    lacking = [one for one in types if one not in found.types or not found.types[one].conditional_update]
    if lacking:
        yield f"it does not say that it takes conditional updates of {', '.join(lacking)}"


def _unsearchable(found: Capability, types: Iterable[str]) -> Iterator[str]:
    lacking = [one for one in types if one not in found.types or "identifier" not in found.types[one].searches]
    if lacking:
        yield f"it does not say that it finds {', '.join(lacking)} by identifier"


def _lacking(found: Capability, types: Iterable[str], *interactions: str) -> Iterator[str]:
    for name in interactions:
        lacking = [one for one in types if one not in found.types or name not in found.types[one].interactions]
        if lacking:
            yield f"it does not say that it offers {name} of {', '.join(lacking)}"


def _offered(given: Json) -> Offered:
    searches = frozenset(str(one.get("name")) for one in _dicts(given.get("searchParam")))
    return Offered(_codes(given), searches, given.get("conditionalUpdate") is True, _operations(given))


def _codes(given: Json) -> frozenset[str]:
    return frozenset(str(one.get("code")) for one in _dicts(given.get("interaction")))


def _operations(given: Json) -> frozenset[str]:
    return frozenset(str(one.get("name")).removeprefix("$") for one in _dicts(given.get("operation")))


def _dicts(value: Any) -> list[Json]:
    return [one for one in value if isinstance(one, dict)] if isinstance(value, list) else []
