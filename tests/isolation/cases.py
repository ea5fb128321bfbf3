"""One request that speaks of what is another organisation's, and what of the service it is a case of."""

import json
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote, urlencode

from service.fhir import exact
from tests.isolation.canaries import borrowed

Json = dict[str, Any]
FORM = (("Content-Type", "application/x-www-form-urlencoded"),)
PATCH = (("Content-Type", "application/json-patch+json"),)


@dataclass(frozen=True)
class Case:
    """covers: what it is a case of, such as "GET /fhir/{type}/{id}" or "Patient?name".

    moves: its answer is about what goes on meanwhile, so only a refusal is laid beside its twin's.
    twin_path: where its twin is sent, when doing it once leaves nothing to do: then only the statuses are compared."""

    method: str
    path: str
    covers: tuple[str, ...] = ()
    body: str = ""
    headers: tuple[tuple[str, str], ...] = ()
    moves: bool = False
    twin_path: str = ""

    @property
    def sent(self) -> str:
        """All of it as text."""
        return "\n".join((self.path, self.body, *(value for _, value in self.headers)))

    def turned(self, turn: Any) -> "Case":
        """The same request with `turn` done to all its texts."""
        headers = tuple((name, turn(value)) for name, value in self.headers)
        return replace(self, path=turn(self.twin_path or self.path), body=turn(self.body), headers=headers)


def search(type_: str, *pairs: tuple[str, str], covers: tuple[str, ...] = ()) -> Case:
    """A search by these parameters."""
    query = urlencode(pairs, quote_via=quote)
    return Case("GET", f"/fhir/{type_}?{query}", covers, moves=type_ == "AuditEvent")


def text(resource: Json) -> str:
    """A body that names what is another's by its id, in words that are the asker's own."""
    return borrowed(exact.encode(resource).decode())


def plain(value: Any) -> str:
    """A body that is no resource."""
    return json.dumps(value)
