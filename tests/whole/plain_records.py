"""A record system on fhirstarter (from PyPI), run by an environment of its own: `python plain_records.py PORT`.

What it says over HTTP is fhirstarter's: create, read, update and search by identifier, no transactions, no conditions,
answers without a body, a Location without its host, and its own checks of every resource. Only the shelf is ours."""

import sys
from typing import Any
from uuid import uuid4

import uvicorn
from fhir.resources.R4B import get_fhir_model_class
from fhir.resources.R4B.bundle import Bundle
from fhirstarter import FHIRProvider, FHIRStarter, InteractionContext
from fhirstarter.exceptions import FHIRResourceNotFoundError

TYPES = (
    *("Patient", "RelatedPerson", "Organization", "ServiceRequest", "Task", "Procedure", "Media", "BodyStructure"),
    *("Observation", "DiagnosticReport", "ChargeItem", "Invoice", "Communication"),
)
SHELF: dict[str, dict[str, Any]] = {type_: {} for type_ in TYPES}


def offer(provider: FHIRProvider, type_: str) -> None:
    """The four interactions of one type."""
    model, shelf = get_fhir_model_class(type_), SHELF[type_]

    async def create(context: InteractionContext, resource: Any) -> str:
        resource.id = str(uuid4())
        shelf[resource.id] = resource
        return str(resource.id)

    async def read(context: InteractionContext, id_: str) -> Any:
        if id_ not in shelf:
            raise FHIRResourceNotFoundError
        return shelf[id_]

    async def update(context: InteractionContext, id_: str, resource: Any) -> str:
        if id_ not in shelf:
            raise FHIRResourceNotFoundError
        shelf[id_] = resource
        return id_

    async def search_type(context: InteractionContext, identifier: str | None) -> Bundle:
        system, _, value = str(identifier).partition("|")
        found = [one for one in shelf.values() if bears(one, system, value)]
        entries = [{"resource": one.model_dump()} for one in found]
        return Bundle(type="searchset", total=len(found), entry=entries)

    provider.create(model)(create)
    provider.read(model)(read)
    provider.update(model)(update)
    provider.search_type(model)(search_type)


def bears(resource: Any, system: str, value: str) -> bool:
    """Whether a resource bears an identifier."""
    return any(one.system == system and one.value == value for one in resource.identifier or [])


def main(port: int) -> None:
    """Serve on loopback until asked to stop."""
    app, provider = FHIRStarter(), FHIRProvider()
    for type_ in TYPES:
        offer(provider, type_)
    app.add_providers(provider)
    uvicorn.run(app, port=port, log_level="warning")


if __name__ == "__main__":
    main(int(sys.argv[1]))
