"""The web application: the table of offers, the probes and the documentation behind one door."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

from fastapi import FastAPI, Request, Response
from starlette.exceptions import HTTPException
from starlette.routing import Route

from service.api import documents, media, outcomes
from service.api.answers import FHIR
from service.api.audit import Audit
from service.api.cors import Cors
from service.api.desk import Desk
from service.api.door import Door
from service.api.hands import Hands
from service.api.kit import Kit
from service.api.metrics import Metrics
from service.api.offers import PLACES
from service.api.probes import PROBES, Probe
from service.api.published_keys import KEYS, PublishedKeys
from service.api.trust import PATHS, Trust
from service.api.webhooks import HOOKS, Webhooks
from service.basics.errors import Fault, Missing, NotAcceptable, NotAllowed

Application = FastAPI
"""What create_app gives: the doors need its name, but not the library's."""


def create_app(kit: Kit) -> FastAPI:
    """The application. Nothing is opened or read here; what needs closing is closed when it shuts down."""
    hands, log, metrics = Hands(kit), Audit(kit.books.trace_reads), Metrics(kit.gauges)

    @asynccontextmanager
    async def life(_: FastAPI) -> AsyncIterator[None]:
        flushing = asyncio.create_task(log.run())
        try:
            yield
        finally:
            flushing.cancel()
            with suppress(asyncio.CancelledError):
                await flushing
            hands.close()
            log.flush()

    # Endpoints are plain ASGI objects: FHIR bodies are bytes in and bytes out, there is no model for FastAPI to check.
    routes = [Route(f"/fhir{path}", Trust(kit, path, log=log)) for path in PATHS]
    routes += [Route(f"/fhir{KEYS}", PublishedKeys(kit)), Route(HOOKS, Webhooks(kit, log=log))]
    routes += [Route(f"/fhir{path}", Desk(kit, path, hands=hands, log=log)) for path in _ordered()]
    routes += [Route("/fhir/", Desk(kit, "", hands=hands, log=log))]
    routes += [Route(name, Probe(kit, name, metrics=metrics)) for name in PROBES]
    app = FastAPI(title="Sonoledger", openapi_url=None, redirect_slashes=False, lifespan=life)
    app.router.routes.extend(routes + (documents.routes(kit) if kit.docs else []))
    app.add_exception_handler(HTTPException, _unknown)
    app.add_middleware(Door, metrics=metrics, cors=Cors(kit.origins))
    return app


def _ordered() -> list[str]:
    """The paths, fixed words before places, so that /{type}/_search is never taken for an id."""
    return sorted(PLACES, key=lambda path: [part.startswith("{") for part in path.split("/")])


async def _unknown(request: Request, error: Exception) -> Response:
    """What no route answers."""
    found = getattr(error, "status_code", 404)
    refusal = (
        NotAllowed(Fault("not-supported", "This method is not offered here."))
        if found == 405
        else Missing(Fault("not-found", "There is nothing at this address; FHIR is at /fhir, see /fhir/metadata."))
    )
    answer, kind = outcomes.refused(refusal), FHIR
    with suppress(NotAcceptable):
        kind = media.answer_type(request.headers.get("accept", ""))
    return Response(answer.body, answer.status, headers={"content-type": kind.decode()})
