"""What can be asked next about a resource that was just written, as OpenAPI links: by its id, its version, itself."""

from typing import Any

from service.api.offers import Offer
from service.fhir.types import DIRECTORY

Json = dict[str, Any]

_WRITTEN = "#/components/links/"
_NAMED = {"path.type": "$response.body#/resourceType", "path.id": "$response.body#/id"}
_BASED = {"header.If-Match": "$response.header.ETag"}

LINKS: Json = {
    "read": {"operationId": "read-get-2", "parameters": _NAMED},
    "version": {
        "operationId": "vread-get-4",
        "parameters": {**_NAMED, "path.version": "$response.body#/meta/versionId"},
    },
    "history": {"operationId": "history-instance-get-3", "parameters": _NAMED},
    "update": {"operationId": "update-put-2", "parameters": {**_NAMED, **_BASED}, "requestBody": "$response.body"},
    "patch": {"operationId": "patch-patch-2", "parameters": {**_NAMED, **_BASED}},
}
"""By name; all types share them, for an answer says itself what it is."""


def links(offer: Offer, type_: str) -> Json:
    """The links of an answer that holds what was written; {} for others."""
    if offer.code not in {"create", "update"}:
        return {}
    found: Json = {name: {"$ref": f"{_WRITTEN}{name}"} for name in LINKS}
    if offer.code == "create" and type_ in DIRECTORY:
        parameters = {"path.id": _NAMED["path.id"]}
        found["delete"] = {"operationId": f"delete-{type_}-delete-2", "parameters": parameters}
    return found
