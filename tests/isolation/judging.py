"""An answer beside that to its twin: nothing of another organisation is in it, and both read alike."""

import re
from dataclasses import dataclass
from itertools import count
from urllib.parse import unquote

import httpx

from tests.isolation.canaries import ids
from tests.isolation.cases import Case
from tests.isolation.world import House

_ID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_WHEN = re.compile(r"20\d\d-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")
_PAGE = re.compile(r"_page=[\w.~-]+")
_PASSING = frozenset({"date", "x-request-id", "content-length", "last-modified", "etag"})
_requests = count()


@dataclass(frozen=True)
class Breach:
    """What went wrong with a case."""

    case: Case
    what: str


class Judge:
    """Sends cases as one house about another's things."""

    def __init__(self, by: House, about: House) -> None:
        self.by, self.about = by, about
        self.known = set(by.canaries.secrets)
        self.requests: set[str] = set()
        self.told: set[str] = set()  # ids that the asker named itself: what it wrote and its audit hold them

    def breaches(self, case: Case) -> list[Breach]:
        """Everything wrong with the answers to a case and its twin."""
        self.told |= ids(unquote(case.sent))
        answer, twin = self.send(case), self.send(case.turned(self.about.canaries.twin))
        found = [f"status {answer.status_code}"] if answer.status_code >= 500 else []
        leaked = self.about.canaries.in_(whole(answer)) - self.about.canaries.in_(case.sent)
        leaked = (leaked | self.about.canaries.in_(whole(twin))) - self.told
        found += [f"shows {sorted(leaked)[:3]}"] if leaked else []
        one, other = self._compared(case, answer), self._compared(case, twin)
        found += [f"unknown reads otherwise: {_difference(one, other)}"] if one != other else []
        return [Breach(case, what) for what in found]

    def send(self, case: Case) -> httpx.Response:
        """The answer to a case."""
        request = f"attack-{next(_requests)}"
        self.requests.add(request)
        headers = {**dict(case.headers), "X-Request-Id": request}
        content = case.body.encode() if case.body else None
        return self.by.http.request(case.method, case.path, content=content, headers=headers)

    def _compared(self, case: Case, answer: httpx.Response) -> str:
        if case.twin_path:
            return str(answer.status_code)
        return "" if case.moves and answer.status_code < 400 else self._comparable(answer)

    def _comparable(self, answer: httpx.Response) -> str:
        """The answer without what differs from one to the next: moments, new ids, and what was asked for."""
        told = sorted(f"{name}: {value}" for name, value in answer.headers.items() if name not in _PASSING)
        text = self.about.canaries.twin("\n".join((str(answer.status_code), *told, answer.text)))
        names: dict[str, str] = {}
        new = _ID.sub(lambda m: m[0] if m[0] in self.known else names.setdefault(m[0], f"#{len(names)}"), text)
        return _PAGE.sub("_page=", _WHEN.sub("~", new))


def whole(answer: httpx.Response) -> str:
    """Everything that the asker sees."""
    return "\n".join((*(f"{name}: {value}" for name, value in answer.headers.items()), answer.text))


def _difference(one: str, other: str) -> tuple[str, str]:
    at = next((n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    return one[max(0, at - 80) : at + 80], other[max(0, at - 80) : at + 80]
