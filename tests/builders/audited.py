"""Calls that are told apart by their request ids, and the lines of the audit that they leave."""

import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import httpx

from service.basics.stored import Trace
from service.store import SqlBooks

JSON = {"Content-Type": "application/fhir+json"}
Kind = tuple[str, str, str, str]  # interaction, action, outcome, type
Open = Callable[..., "Audited"]  # a client of a new organisation: open(kind, *scopes, name="")


@dataclass
class Audited:
    """One organisation's client; `expected` counts the lines that its calls must leave, by request and kind."""

    books: SqlBooks
    organization: str
    http: httpx.Client
    expected: Counter[tuple[str, Kind]] = field(default_factory=Counter)

    def call(self, method: str, url: str, status: int, *kinds: Kind, **more: Any) -> httpx.Response:
        """Call, and expect one line of each kind."""
        request = f"r{len(self.expected)}-{method}"
        headers = {**JSON, "X-Request-Id": request, **more.pop("headers", {})}
        answer = self.http.request(method, url, headers=headers, **more)
        assert answer.status_code == status, (method, url, answer.status_code, answer.text)
        assert answer.headers["x-request-id"] == request
        self.expected.update((request, kind) for kind in kinds)
        return answer

    def left(self) -> Counter[tuple[str, Kind]]:
        """The lines in the store, once all that were noted before are written (they are, in order)."""
        last = f"last-{time.monotonic_ns()}"
        self.http.get("/fhir/Flag/none", headers={"X-Request-Id": last})
        for _ in range(200):
            found = self.lines()
            if any(line.request == last for line in found):
                return Counter((line.request, kind(line)) for line in found if line.request != last)
            time.sleep(0.05)
        raise AssertionError("the lines were not written")

    def lines(self) -> tuple[Trace, ...]:
        """All lines, the newest first."""
        with self.books.view(self.organization) as view:
            return view.traces(count=5000)[0]


def kind(line: Trace) -> Kind:
    return line.interaction if not line.operation else f"${line.operation}", line.action, line.outcome, line.type
