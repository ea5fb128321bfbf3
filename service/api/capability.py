"""The CapabilityStatement from the same tables that route and search, so that it can't promise anything else."""

from collections.abc import Callable, Sequence
from typing import Any

from service.api import offers, trust
from service.api.kit import Limits
from service.api.types import READ_ONLY, SERVED
from service.fhir import exact, patching, profiles, uris
from service.fhir.search.coming import included, referring
from service.fhir.topics import TOPICS
from service.fhir.types import DEFINITIONS, DIRECTORY, GUARDED

Json = dict[str, Any]
Parameters = Callable[[str], Sequence[tuple[str, str, str]]]

DATE = "2026-11-25"
"""When this statement was last changed."""
_MOST = Limits()
_SMART = {"system": uris.SECURITY_SERVICE, "code": "SMART-on-FHIR"}
_RULES = (
    "JSON only. Ids are the server's. Conditional create and update hold under concurrency. "
    f"Bundles: at most {_MOST.entries} entries and {_MOST.bundle >> 20} MiB; other bodies, attachments within them, "
    f"{_MOST.body >> 20} MiB. Pages: at most {_MOST.page} resources, 50 unless asked. Addresses: at most "
    f"{_MOST.url >> 10} KiB. JSON: at most {exact.DEPTH} levels. "
    "A search may chain through two other resources; its page links are good for an hour. "
    "Token scopes: system/<Type>.<cruds>, narrowed by search parameters for reading."
)


def statement(base: str, *, version: str, parameters: Parameters) -> Json:
    """The statement of the server at `base`. parameters: type -> (name, type, definition) of what can be searched."""
    rest = {
        "mode": "server",
        "documentation": _RULES,
        "security": {
            "extension": [_endpoints(base)],
            "service": [{"coding": [_SMART]}, {"text": "Bearer token"}],
            "description": "A bearer token of one organisation with SMART system scopes: a short one for a signed "
            "assertion (SMART Backend Services), or a long one from whoever runs the service.",
        },
        "resource": [_resource(type_, parameters) for type_ in SERVED],
        "interaction": [{"code": code} for code in ("transaction", "batch", "history-system", "search-system")],
    }
    return {
        "resourceType": "CapabilityStatement",
        "id": "sonoledger",
        "url": f"{uris.BASE}/CapabilityStatement/sonoledger",
        "version": version,
        "name": "Sonoledger",
        "title": "Sonoledger",
        "status": "active",
        "date": DATE,
        "kind": "instance",
        "software": {"name": "Sonoledger", "version": version},
        "implementation": {
            "description": "Orders, surveys, reports, charges and invoices of abdominal ultrasound in dogs and cats",
            "url": base,
        },
        "fhirVersion": "4.0.1",
        "format": ["application/fhir+json", "json"],
        "patchFormat": [patching.MEDIA],
        "rest": [rest],
    }


def _endpoints(base: str) -> Json:
    """Where tokens are asked for, as SMART's extension says it."""
    found = {"token": trust.TOKEN, "introspect": trust.INTROSPECT, "revoke": trust.REVOKE}
    return {
        "url": uris.OAUTH_URIS,
        "extension": [{"url": name, "valueUri": base + path} for name, path in found.items()],
    }


def _resource(type_: str, parameters: Parameters) -> Json:
    kept = type_ not in READ_ONLY
    ours = [url for url, one in profiles.PROFILES.items() if one.type == type_]
    found: Json = {
        "type": type_,
        **({"supportedProfile": ours} if ours else {}),
        "interaction": [{"code": code} for code in offers.codes(type_, "type")],
        "versioning": _versioning(type_),
        "readHistory": kept,
        "updateCreate": False,
        "conditionalCreate": kept,
        "conditionalRead": "not-match" if type_ in DEFINITIONS else "full-support",
        "conditionalUpdate": kept,
        "conditionalDelete": "single" if type_ in DIRECTORY else "not-supported",
        "referencePolicy": ["literal", "logical"],
    }
    params = [
        {"name": name, "definition": url, "type": kind} if url else {"name": name, "type": kind}
        for name, kind, url in parameters(type_)
    ]
    operations = [{"name": name, "definition": url} for name, url in offers.operations(type_)]
    coming = {} if type_ in DEFINITIONS else _coming(type_)
    if type_ == "Subscription":
        found["extension"] = [{"url": uris.BACKPORT_TOPIC, "valueCanonical": url} for url in TOPICS]
        found["supportedProfile"] = [uris.BACKPORT_SUBSCRIPTION]
    return found | coming | ({"searchParam": params} if params else {}) | {"operation": operations}


def _coming(type_: str) -> Json:
    """What a search of a type can bring along; an empty list is left out."""
    lists = {"searchInclude": list(included(type_)), "searchRevInclude": list(referring(type_))}
    return {name: values for name, values in lists.items() if values}


def _versioning(type_: str) -> str:
    if type_ in DEFINITIONS:
        return "no-version"
    return "versioned-update" if type_ in GUARDED else "versioned"
