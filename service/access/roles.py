"""Who does what for a living, as a table: a role is a ceiling over a token's scopes, and what it lacks is denied."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from urllib.parse import urlencode

from service.access.scopes import understood
from service.fhir.types import DEFINITIONS, DIRECTORY

Letters = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Role:
    """grants: type -> letters; operations: by name; service: what else, of metrics, introspect, bundles.

    narrow: type -> search parameters that must hold of what is shown, {party} in them standing for whose side it is."""

    title: str
    grants: Letters
    operations: frozenset[str]
    service: frozenset[str] = frozenset()
    narrow: Letters = field(default_factory=dict)


def _all(types: str, letters: str) -> dict[str, str]:
    return dict.fromkeys(types.split(), letters)


_DEFINED = dict.fromkeys(DEFINITIONS, "rs")
_PEOPLE = dict.fromkeys(DIRECTORY, "rs")
_LOOKING = frozenset({"validate", "lastn", "meta"})
_REPORTING = frozenset({"everything", "document", "as-document", "form"})
_PARTY = re.compile(r"Organization/[A-Za-z0-9\-.]{1,64}")
_SUBSCRIBING = frozenset({"status", "events"})
_BUNDLES = frozenset({"bundles"})
_SCANNED = "Observation Media ImagingStudy Binary Specimen"
_CLINICAL = _all("ServiceRequest Task Procedure BodyStructure Condition Encounter Appointment Flag", "rs")
_REPORTS = _all("DiagnosticReport Composition DocumentReference Provenance Communication", "rs")
_SCANS = _DEFINED | _PEOPLE | _CLINICAL | _REPORTS | _all(_SCANNED, "crus") | _all("Procedure Communication", "crus")
_URGENT = frozenset({"urgent", "urgent-attempt", "urgent-acknowledge"})
_REFERRED = frozenset({"referral", "referral-animal"})

ROLES: Mapping[str, Role] = {
    "record-system": Role(
        "the practice's record system: animals, owners, orders in; reports and invoices out",
        _DEFINED
        | dict.fromkeys(DIRECTORY, "cruds")
        | _REPORTS
        | _all("Task Media ImagingStudy BodyStructure ChargeItem Specimen", "rs")
        | _all("ServiceRequest Encounter Appointment Coverage Account Consent Condition Procedure", "crus")
        | _all("DocumentReference Binary Communication Flag Observation Subscription", "crus")
        | _all("Provenance", "crs")
        | _all("Invoice", "rus"),
        _LOOKING | _REPORTING | _SUBSCRIBING | {"print", "estimate", "consent", "meta-add", "meta-delete"},
        _BUNDLES,
    ),
    "scanner": Role(
        "a scanner or its gateway: work in, images and measurements out",
        _DEFINED | _PEOPLE | _all("ServiceRequest Task BodyStructure", "rs") | _all(_SCANNED, "crus")
        | _all("Procedure", "rus"),
        frozenset({"validate", "lastn"}),
        _BUNDLES,
    ),
    "scanning-person": Role(
        "who scans: what was seen and not seen, and telling what is urgent",
        _SCANS,
        _LOOKING | _REPORTING | _URGENT | _REFERRED | {"settle"},
        _BUNDLES,
    ),
    "interpreter": Role(
        "who reads and signs: all of scanning, and the report",
        _SCANS | _all("Condition Flag", "crus") | _all("Provenance", "crs"),
        _LOOKING | _REPORTING | _URGENT | _REFERRED | {"settle", "preliminary", "finish", "amend", "withdraw"},
        _BUNDLES,
    ),
    "bookkeeper": Role(
        "who bills: charges, invoices, credits and what is unclear about them; no findings",
        _DEFINED
        | _PEOPLE
        | _all("ServiceRequest Task Procedure Encounter Appointment Consent", "rs")
        | _all("ChargeItem Invoice Account Coverage", "crus"),
        frozenset({"validate", "meta", "print"})
        | {"estimate", "consent", "bill", "credit", "billing-settle", "billing-check"},
        _BUNDLES,
    ),
    "referring-clinic": Role(
        "a clinic that refers animals: its own orders and what came of them",
        _DEFINED | _all("ServiceRequest Task DiagnosticReport", "rs"),
        frozenset({"as-document", "form"}),
        narrow={
            "ServiceRequest": "requester={party}",
            "Task": "focus:ServiceRequest.requester={party}",
            "DiagnosticReport": "based-on:ServiceRequest.requester={party}&status=final,amended,corrected,appended",
        },
    ),
    "operator": Role(
        "who runs the service: its audit and its figures; nothing clinical, no money",
        _DEFINED | _all("AuditEvent Organization Endpoint Subscription", "rs"),
        frozenset(),
        frozenset({"metrics", "introspect"}),
    ),
}  # fmt: skip


def faults(role: str, party: str) -> list[str]:
    """What is wrong with a role for a token to be made; "" is none, and nothing is wrong with that."""
    if role and role not in ROLES:
        return [f"{role} is no role; there are {', '.join(ROLES)}"]
    needs = bool(role and ROLES[role].narrow)
    if needs and not _PARTY.fullmatch(party):
        return [f"the role {role} needs a party: Organization/<id>, whose orders it may see"]
    return [f"a party says whose side a token is on: only {_narrowed()} has one"] if party and not needs else []


@lru_cache(maxsize=1024)
def effective(role: str, party: str, scopes: tuple[str, ...]) -> tuple[str, ...]:
    """What the scopes come to under a role's ceiling, as scopes; without a role they are all there is.

    A role that isn't known grants nothing."""
    if not role:
        return scopes
    held = ROLES.get(role)
    if held is None:
        return ()
    found = [one for scope in scopes if (one := understood(scope))]
    made = []
    for type_, most in held.grants.items():
        own = held.narrow.get(type_, "").replace("{party}", party)
        for one in found:
            letters = "".join(letter for letter in most if letter in one.letters)
            if one.type in {"*", type_} and letters:
                asked = [text for text in (own, urlencode(one.limit)) if text]
                made.append(f"system/{type_}.{letters}" + (f"?{'&'.join(asked)}" if asked else ""))
    return tuple(dict.fromkeys(made))


def knows(role: str, scope: str) -> bool:
    """Whether a scope is of a type that the role has to do with at all."""
    asked, held = understood(scope), ROLES.get(role)
    return not role or (held is not None and asked is not None and asked.type in {"*", *held.grants})


def operates(role: str, operation: str) -> bool:
    """Whether a role may call an operation, or be served (metrics, introspect, bundles); without a role all may."""
    if not role:
        return True
    held = ROLES.get(role)
    return held is not None and (operation in held.operations or operation in held.service)


def _narrowed() -> str:
    return " or ".join(name for name, role in ROLES.items() if role.narrow)
