"""What a resource can be found by, and what a search asks for, as numbers the store compares."""

from service.fhir.search.hashed import coded, key
from service.fhir.search.index import keys
from service.fhir.search.offered import parameters
from service.fhir.search.query import parse

__all__ = ["coded", "key", "keys", "parameters", "parse"]
