"""All cases that a running service asks for, from its CapabilityStatement and OpenAPI; and what lacks one."""

import re
from collections.abc import Iterable, Iterator
from typing import Any

from service.fhir import exact
from tests.isolation import bundled, operated
from tests.isolation.addressed import Addressed
from tests.isolation.cases import Case
from tests.isolation.searched import Searched
from tests.isolation.world import House

Json = dict[str, Any]
PAGES = frozenset({"/fhir/", "/openapi.json", "/docs", "/docs/docs.js", "/docs/docs.css"})  # the same for everybody


class Offered:
    """What a service says of itself, as one house reads it."""

    def __init__(self, by: House) -> None:
        self.by = by
        self.openapi: Json = by.http.get("/openapi.json").json()
        self.statement: Json = by.http.get("/fhir/metadata").json()
        listed = exact.decode(by.http.get("/fhir/OperationDefinition?_count=500").content)
        self.definitions = {one["resource"]["code"]: one["resource"] for one in listed["entry"]}

    def cases(self, about: House, *, most: int) -> Iterator[Case]:
        """Every case about another's things; what writes comes first, so that includes find what it left."""
        yield from Addressed(self.openapi, about, self.definitions, most=most).cases()
        yield from bundled.bundles(about)
        yield from bundled.own_exams(self.definitions, about, self.by)
        yield from bundled.pages(about, self.by)
        yield from Searched(self.statement, about, most=most).cases()

    def undescribed(self, routes: Iterable[str]) -> set[str]:
        """The routes that the description does not name: nothing could be generated for them."""
        described = {re.sub(r"^/fhir/[A-Z]\w+", "/fhir/{type}", path) for path in self.openapi["paths"]}
        return {route for route in routes if route not in described | PAGES}

    def lacking(self, cases: Iterable[Case]) -> set[str]:
        """Everything that is offered and has no case."""
        covered = {one for case in cases for one in case.covers}
        return (self._asked() - covered) | operated.untold(self.definitions)

    def _asked(self) -> set[str]:
        paths = {f"{m.upper()} {path}" for path, methods in self.openapi["paths"].items() for m in methods}
        asked = paths | {"Bundle.batch", "Bundle.transaction", "_page"}
        for one in self.statement["rest"][0]["resource"]:
            type_ = one["type"]
            names = [p["name"] for p in one.get("searchParam", [])]
            asked |= {f"{type_}?{name}" for name in names} | {f"{type_}?_sort={name}" for name in names}
            asked |= {f"{type_}?_include={wish}" for wish in one.get("searchInclude", [])}
            asked |= {f"{type_}?_revinclude={wish}" for wish in one.get("searchRevInclude", [])}
        return asked
