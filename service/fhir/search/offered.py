"""A type -> the parameters that a search of it understands, as they are declared."""

from service.fhir import uris
from service.fhir.search import audit, published
from service.fhir.search.table import rows
from service.fhir.types import DEFINITIONS


def parameters(type_: str) -> tuple[tuple[str, str, str], ...]:
    """(name, kind, definition URL) of every parameter that a search of this type understands."""
    if type_ in DEFINITIONS:
        return published.parameters(type_)
    every = (
        ("_id", "token", f"{uris.SEARCH_PARAMETER}Resource-id"),
        ("_lastUpdated", "date", f"{uris.SEARCH_PARAMETER}Resource-lastUpdated"),
    )
    found = every + tuple((row.code, row.kind, row.url) for row in rows().get(type_, {}).values())
    if type_ == "AuditEvent":  # its lines are searched as they are kept, not as resources
        return tuple(one for one in found if one[0] in audit.PARAMETERS)
    return found
