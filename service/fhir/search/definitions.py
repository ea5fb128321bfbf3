"""The definitions of search parameters -> those that are offered, as facts."""

import gzip
from collections.abc import Collection
from functools import lru_cache
from importlib.resources import files
from typing import Any

from service.fhir import exact
from service.fhir.search.own import OWN
from service.fhir.types import DEFINITIONS, STORABLE

FILE = "definitions.json.gz"
Json = dict[str, Any]
SHARED = frozenset({"DomainResource", "Resource"})


def facts(every: Collection[Json]) -> list[Json]:
    """What of HL7's definitions the service carries: those of the types that it serves; for the generator only."""
    wanted = STORABLE | DEFINITIONS | SHARED
    found = {
        str(one["url"]): one for one in every if wanted & set(one.get("base", ())) and "/example" not in one["url"]
    }
    return [found[url] for url in sorted(found)]


@lru_cache(maxsize=1)
def _carried() -> bytes:
    return gzip.decompress(files("service.fhir.search").joinpath(FILE).read_bytes())


def offered(urls: Collection[str]) -> list[Json]:
    """The facts of these definitions, HL7's and our own, by their URLs; one that nobody wrote down is left out."""
    known: list[Json] = [*exact.decode(_carried()), *OWN]
    return [one for one in known if one["url"] in urls]
