"""The parts an OpenAPI description is put together from: places, headers, bodies and answers."""

from typing import Any

from service.api.description_bodies import PATCH_SHAPE
from service.api.offers import Offer
from service.api.types import READ_ONLY
from service.fhir.operations import ALL

Json = dict[str, Any]

INTRODUCTION = (
    "HL7 FHIR R4 (4.0.1) for abdominal ultrasound of dogs and cats: orders come in, surveys are tracked step by step, "
    "reports, charges and invoices go out. Bodies are FHIR JSON; every refusal is an OperationOutcome that names each "
    "fault with its FHIRPath."
)
FHIR = "application/fhir+json"
_WORDS = {
    "transaction": "Transaction (all or nothing) or batch Bundle",
    "capabilities": "What this server offers",
    "history-system": "Versions of everything, the newest first",
    "history-type": "Versions of one type, the newest first",
    "history-instance": "Versions of one resource, the newest first",
    "search-system": "Search across types (those of _type, or all)",
    "search-type": "Search",
    "create": "Create",
    "update": "Update",
    "patch": "Change parts of it by a JSON Patch",
    "delete": "Delete, while nothing refers to it",
    "read": "Read",
    "vread": "Read one version",
}
_PLACES = {
    "within": {"type": "string", "enum": ["Device", "Encounter", "Patient", "Practitioner", "RelatedPerson"]},
    "type": {"$ref": "#/components/schemas/type"},
    "id": {"type": "string", "pattern": r"^[A-Za-z0-9\-.]{1,64}$"},
    "version": {"type": "string", "pattern": "^[1-9][0-9]{0,8}$"},
}
_KEPT = {"$ref": "#/components/schemas/written-type"}  # what is never offered on a type that is only read
_REFUSALS = {"400": "Refused", "401": "Token", "403": "Scope", "404": "Missing", "406": "Accept", "503": "Busy"}
_WRITING = {
    "409": "Conflict",
    "412": "Stale",
    "413": "Large",
    "415": "Media",
    "422": "Rule",
    "428": "Match",
    "507": "Full",
}
_TEXTS = {
    "Refused": "It can't be understood or breaks FHIR's own rules",
    "Token": "A valid token is needed",
    "Scope": "The token lacks the scope",
    "Missing": "There is no such thing",
    "Method": "This method is not offered here",
    "Accept": "Only JSON is given",
    "Busy": "Try again after Retry-After seconds",
    "Conflict": "The present state forbids it",
    "Gone": "It was deleted",
    "Stale": "A condition does not hold",
    "Large": "Over a limit",
    "Media": "Only JSON in UTF-8 is taken, not compressed",
    "Rule": "A published rule forbids it",
    "Match": "If-Match is needed",
    "Full": "Storage can't take it",
}


def components(types: tuple[str, ...]) -> Json:
    """Schemas, refusals and the security scheme that the paths refer to."""
    outcome = {FHIR: {"schema": {"$ref": "#/components/schemas/OperationOutcome"}}}
    resource = {"type": "object", "required": ["resourceType"], "properties": {"resourceType": {"type": "string"}}}
    schemas = {
        "type": {"type": "string", "enum": list(types)},
        "written-type": {"type": "string", "enum": [one for one in types if one not in READ_ONLY]},
        "Resource": resource,
        "Bundle": _shaped(
            "Bundle", {"type": {"type": "string"}, "entry": {"type": "array", "items": {"type": "object"}}}
        ),
        "Parameters": _shaped("Parameters", {"parameter": {"type": "array", "items": {"type": "object"}}}),
        "Patch": PATCH_SHAPE,
        "OperationOutcome": _shaped("OperationOutcome", {"issue": {"type": "array", "items": {"type": "object"}}}),
    }
    refusals = {name: {"description": text, "content": outcome} for name, text in _TEXTS.items()}
    token = {"type": "http", "scheme": "bearer", "description": "A token of one organisation, from `token create`"}
    return {"schemas": schemas, "responses": refusals, "securitySchemes": {"token": token}}


def _shaped(type_: str, properties: Json) -> Json:
    properties = {"resourceType": {"const": type_}, **properties}
    return {"type": "object", "required": ["resourceType"], "properties": properties}


def summary(offer: Offer, type_: str) -> str:
    """What an offer does, in a few words."""
    if offer.operation:
        return next(one.title for one in ALL if one.name == offer.operation)
    return _WORDS[offer.code] + (f" ({type_})" if type_ else "")


def place(name: str, offer: Offer) -> Json:
    """A place in the path of an offer."""
    schema = _KEPT if name == "type" and offer.never else _PLACES[name]
    return {"name": name, "in": "path", "required": True, "schema": schema}


def searched(name: str, kind: str, url: str) -> Json:
    """A search parameter."""
    found = {"name": name, "in": "query", "schema": {"type": "string"}, "description": kind}
    return found | ({"externalDocs": {"url": url}} if url.startswith("http") else {})


def wishes(offer: Offer) -> list[Json]:
    """The headers and parameters that an offer listens to."""
    headers = {
        "read": ("If-None-Match", "If-Modified-Since"),
        "vread": ("If-None-Match",),
        "create": ("If-None-Exist", "Prefer"),
        "update": ("If-Match", "If-None-Match", "Prefer"),
        "patch": ("If-Match", "Prefer"),
        "delete": ("If-Match", "Prefer"),
        "transaction": ("Prefer",),
        "search-type": ("Prefer",),
    }.get(offer.code, ())
    queries = ("_count", "_since", "_at") if offer.code.startswith("history") else _taken(offer)
    return [_named(one, "header") for one in headers] + [_named(one, "query") for one in queries]


def _taken(offer: Offer) -> tuple[str, ...]:
    """What an operation takes in its URL; one that is posted takes Parameters."""
    if offer.body:
        return ()
    return tuple(p.name for one in ALL if one.name == offer.operation for p in one.parameters if p.use == "in")


def _named(name: str, where: str) -> Json:
    return {"name": name, "in": where, "schema": {"type": "string"}}


def responses(offer: Offer) -> Json:
    """Every status that can come back."""
    done = {"delete": ("204", "200"), "create": ("201", "200"), "read": ("200", "304"), "vread": ("200", "304")}
    content: Json = {FHIR: {"schema": {"$ref": "#/components/schemas/Resource"}}}
    if offer.files:
        content |= {kind: {"schema": {"type": "string"}} for kind in ("application/pdf", "text/html", "text/plain")}
    found: Json = {code: _done(code, content) for code in done.get(offer.code, ("200",))}
    refusals = dict(_REFUSALS) | (_WRITING if offer.writes else {})
    if offer.body and not offer.writes:
        refusals |= {"413": "Large", "415": "Media"}
    if offer.code in {"read", "vread", "patch"}:
        refusals["410"] = "Gone"
    if offer.operation and offer.only and not offer.writes:  # what was deleted, or is not ours to give in that form
        refusals |= {"410": "Gone", "422": "Rule"}
    if offer.never or offer.code in {"update", "transaction", "delete"}:
        refusals["405"] = "Method"
    return found | {code: {"$ref": f"#/components/responses/{name}"} for code, name in sorted(refusals.items())}


def _done(code: str, content: Json) -> Json:
    text = {"201": "Created", "204": "It is not there", "304": "You hold the current version"}.get(code, "Done")
    return {"description": text} | ({"content": content} if code in {"200", "201"} else {})


def _probe(text: str, *, public: bool) -> Json:
    found = {"operationId": text.lower().replace(" ", "-"), "summary": text, "tags": ["system"], "parameters": []}
    answers: Json = {"200": {"description": text}}
    if public:
        return {"get": found | {"responses": answers, "security": []}}
    return {"get": found | {"responses": answers | {"401": {"$ref": "#/components/responses/Token"}}}}


PROBES: Json = {
    "/livez": _probe("The service lives", public=True),
    "/readyz": _probe("The service can work", public=True),
    "/metrics": _probe("What is counted", public=False),
}
