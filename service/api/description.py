"""The OpenAPI 3.1 description, from the same tables that route and search."""

import re
from typing import Any

from service.api import description_parts as parts
from service.api.capability import Parameters, statement
from service.api.description_bodies import body
from service.api.description_links import LINKS, links
from service.api.description_searches import controls
from service.api.description_trust import PATHS as TRUST
from service.api.offers import PLACES, Offer, methods
from service.api.types import SERVED
from service.basics.version import VERSION
from service.fhir import exact, search

Json = dict[str, Any]
EXAMPLE_BASE = "http://127.0.0.1:8000/fhir"


def documents(*, version: str = VERSION) -> dict[str, bytes]:
    """The files of openapi/: name -> text, for a service at EXAMPLE_BASE."""
    described = openapi(version=version, parameters=search.parameters)
    capability = statement(EXAMPLE_BASE, version=version, parameters=search.parameters)
    return {
        "openapi.json": exact.pretty(exact.encode(described)) + b"\n",
        "capability.json": exact.pretty(exact.encode(capability)) + b"\n",
    }


def openapi(*, version: str, parameters: Parameters) -> Json:
    """The whole description. Searches are described type by type, everything else once for all types."""
    return {
        "openapi": "3.1.0",
        "info": {"title": "Sonoledger", "version": version, "description": parts.INTRODUCTION},
        "servers": [{"url": "/"}],
        "security": [{"token": []}],
        "paths": _paths(parameters) | parts.PROBES | TRUST,
        "components": parts.components(SERVED) | {"links": LINKS},
    }


def _paths(parameters: Parameters) -> Json:
    found: Json = {}
    for template, offers in PLACES.items():
        for path, type_ in _spelt(template):
            offered = methods(template, type_)
            operations = {m.lower(): _operation(template, o, m, type_) for m, o in offers.items() if m in offered}
            if type_ and template == "/{type}":
                operations["get"]["parameters"] += [parts.searched(*one) for one in parameters(type_)] + controls(type_)
            if operations:
                found[f"/fhir{path}"] = operations
    return found


def _spelt(template: str) -> list[tuple[str, str]]:
    """(path, type) pairs a template is described as: by type where types differ, else once for all."""
    if template == "/{type}":
        return [(template.replace("{type}", type_), type_) for type_ in SERVED]
    offers = PLACES[template].values()
    only = sorted(set[str]().union(*(offer.only for offer in offers)))
    found = [(template.replace("{type}", type_), type_) for type_ in only]
    return found if all(offer.only for offer in offers) else [*found, (template, "")]


def _operation(template: str, offer: Offer, method: str, type_: str) -> Json:
    places = re.findall(r"{(\w+)}", template.replace("{type}", type_ or "{type}"))
    name = f"{offer.operation or offer.code}{type_ and '-' + type_}-{method.lower()}-{template.count('/')}"
    found: Json = {
        "operationId": name,
        "summary": parts.summary(offer, type_),
        "tags": [type_ or "any type"] if "{type}" in template else ["system"],
        "parameters": [parts.place(one, offer) for one in places] + parts.wishes(offer),
        "responses": _linked(parts.responses(offer), links(offer, type_)),
    }
    if offer.body:
        found["requestBody"] = body(offer, type_)
    return found | ({"security": []} if offer.code == "capabilities" else {})


def _linked(responses: Json, following: Json) -> Json:
    """The answers, those that hold what was written with what can be asked next."""
    return {
        code: answer | ({"links": following} if following and code in {"200", "201"} else {})
        for code, answer in responses.items()
    }
