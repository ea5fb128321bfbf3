"""What a resource can be found by, and what a search asks for, as numbers the store compares."""

from service.fhir.search.changed import changed
from service.fhir.search.elements import links
from service.fhir.search.hashed import key
from service.fhir.search.index import keys
from service.fhir.search.offered import parameters
from service.fhir.search.query import parse, pointing
from service.fhir.search.table import rows

__all__ = ["changed", "key", "keys", "links", "parameters", "parse", "pointing", "rows"]
