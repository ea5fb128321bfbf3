"""FHIR over HTTP as the demo's people speak it: one base, one token, exact decimals both ways."""

from dataclasses import dataclass
from typing import Any

import httpx

from service.demo.trouble import Trouble
from service.fhir import exact

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back: the HTTP status and the resource."""

    status: int
    body: Json

    @property
    def issues(self) -> list[str]:
        """The words of every fault of an OperationOutcome."""
        return [str(i.get("details", {}).get("text", "")) for i in self.body.get("issue", [])]

    @property
    def entries(self) -> list[Json]:
        """The resources of a Bundle."""
        return [e["resource"] for e in self.body.get("entry", []) if "resource" in e]

    @property
    def statuses(self) -> list[int]:
        """The status of each entry of a transaction's answer."""
        return [int(str(e["response"]["status"])[:3]) for e in self.body.get("entry", [])]

    def id_of(self, type_: str) -> str:
        """The id of the first resource of a type that a transaction stored or found."""
        for entry in self.body.get("entry", []):
            _, found, rest = str(entry["response"].get("location", "")).partition(f"/{type_}/")
            if found:
                return rest.partition("/")[0]
        raise Trouble(f"the answer to the transaction names no {type_}")


class Client:
    """Whoever holds the token, talking to the FHIR base of one instance."""

    def __init__(self, base: str, token: str) -> None:
        headers = {"Authorization": f"Bearer {token}", "Accept": "application/fhir+json"}
        self.base, self.token = base, token
        self._http = httpx.Client(headers=headers, timeout=20, trust_env=False)

    def get(self, path: str) -> Json:
        """What is at a path below the base; raises Trouble when it can't be read."""
        return self._wanted("GET", path, None).body

    def post(self, path: str, body: Json) -> Answer:
        """What a POST that has to succeed brings back; raises Trouble when it is refused."""
        return self._wanted("POST", path, body)

    def refused(self, path: str, body: Json, *, status: int) -> Answer:
        """What a POST that has to be refused brings back; raises Trouble when it isn't."""
        answer = self._send("POST", path, body)
        if answer.status != status:
            raise Trouble(f"POST /fhir/{path} should be refused with {status}, but the answer is {answer.status}")
        return answer

    def all(self, path: str) -> list[Json]:
        """Every match of a search, page after page."""
        found: list[Json] = []
        while path:
            page = self._wanted("GET", path, None)
            found += page.entries
            following = [link["url"] for link in page.body.get("link", []) if link["relation"] == "next"]
            path = following[0].removeprefix(f"{self.base}/") if following else ""
        return found

    def count(self, search: str) -> int:
        """How many resources match a search."""
        return int(self.get(f"{search}&_summary=count" if "?" in search else f"{search}?_summary=count")["total"])

    def close(self) -> None:
        """Hang up."""
        self._http.close()

    def _wanted(self, method: str, path: str, body: Json | None) -> Answer:
        answer = self._send(method, path, body)
        if answer.status not in {200, 201}:
            why = "; ".join(answer.issues[:3]) or "no reason was given"
            raise Trouble(f"{method} /fhir/{path} was answered with {answer.status}: {why}")
        return answer

    def _send(self, method: str, path: str, body: Json | None) -> Answer:
        address = f"{self.base}/{path}" if path else self.base
        content = None if body is None else exact.encode(body)
        headers = {"Content-Type": "application/fhir+json"} if content is not None else {}
        got = self._http.request(method, address, content=content, headers=headers)
        return Answer(got.status_code, exact.decode(got.content) if got.content else {})
