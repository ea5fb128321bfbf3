"""Composition/[id]/$document: the Composition and all that belongs to it as one document."""

from datetime import UTC, datetime
from uuid import uuid4

from service.access import scopes
from service.actions.document import document as gather
from service.api import bundles
from service.api.answers import Answer
from service.api.ask import Ask
from service.api.inputs import inputs
from service.api.read import present
from service.basics.errors import Fault, Invalid
from service.basics.stored import Stored
from service.fhir import exact, uris


def document(ask: Ask) -> Answer:
    """The document Bundle, not stored. Raises what actions.document does, Invalid for persist or graph."""
    given = inputs(ask, {"persist", "graph"})
    if given.once("persist") not in {"", "false"}:
        raise Invalid(Fault("not-supported", "A document is given, not stored: leave out persist.", "persist"))
    if given.once("graph"):
        raise Invalid(Fault("not-supported", "graph is not offered: all that can be reached is given.", "graph"))
    with ask.looking() as view:
        composition = present(ask, view.get("Composition", ask.id))
        found = gather(
            ask.kit.house,
            view,
            composition,
            may=lambda type_: scopes.allows(ask.caller.scopes, type_, "r"),
            most=ask.kit.limits.entries,
        )
    head = {
        "identifier": {"system": uris.URI, "value": f"urn:uuid:{uuid4()}"},
        "type": "document",
        "timestamp": exact.instant(datetime.now(UTC)),
    }
    entries = [_entry(ask.base, one) for one in found]
    return Answer(200, bundles.joined(head, entries), seen=tuple(f"{one.type}/{one.id}" for one in found))


def _entry(base: str, one: Stored) -> bytes:
    return b'{"fullUrl":' + exact.encode(f"{base}/{one.type}/{one.id}") + b',"resource":' + one.body + b"}"
