"""A record system in memory whose habits a test chooses: what it can do, and what it does its own way."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qs, unquote

import httpx

Json = dict[str, Any]
BASE = "/fhir"


@dataclass
class Records(httpx.AsyncBaseTransport):
    """Keeps resources by type and id. conditional: whether it knows conditional writes; batch: whether it takes one.

    habit: changes each answer on its way out; before: sees each request first and may answer in its stead."""

    conditional: bool = True
    batch: bool = True
    kept: dict[str, Json] = field(default_factory=dict)
    asked: list[tuple[str, str]] = field(default_factory=list)
    headers: list[httpx.Headers] = field(default_factory=list)
    habit: Callable[[httpx.Request, httpx.Response], httpx.Response] = lambda request, answer: answer
    before: Callable[[httpx.Request], httpx.Response | None] = lambda request: None
    made: int = 0

    def add(self, resource: Json, id_: str = "") -> str:
        """Something it has of its own; its name."""
        self.made += 1
        name = f"{resource['resourceType']}/{id_ or f'r{self.made}'}"
        self.kept[name] = {**resource, "id": name.split("/")[1], "meta": {"versionId": "1"}}
        return name

    def all(self, type_: str) -> list[Json]:
        """What it has of a type."""
        return [one for name, one in self.kept.items() if name.startswith(f"{type_}/")]

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        """Answer as a FHIR server would that has these habits."""
        await request.aread()
        path = request.url.raw_path.decode()
        self.asked.append((request.method, unquote(path.removeprefix(BASE).lstrip("/"))))
        self.headers.append(request.headers)
        answer = self.before(request) or self._answer(request)
        answer = self.habit(request, answer)
        return httpx.Response(answer.status_code, headers=answer.headers, stream=httpx.ByteStream(answer.content))

    def _answer(self, request: httpx.Request) -> httpx.Response:
        target = request.url.path.removeprefix(BASE).strip("/")
        query = request.url.query.decode()
        if request.method == "GET":
            found = self._found(target, query)
            return _bundle("searchset", [{"fullUrl": n, "resource": self.kept[n]} for n in found])
        content = json.loads(request.content)
        if not target:
            if not self.batch or content.get("type") != "batch":
                return _refused(400, "no such Bundle")
            return _bundle("batch-response", [self._entry(one) for one in content["entry"]])
        return self._write(request.method, target, query, content, request.headers)

    def _entry(self, entry: Json) -> Json:
        asked = entry["request"]
        target, _, query = asked["url"].partition("?")
        headers = httpx.Headers({"If-None-Exist": asked["ifNoneExist"]} if "ifNoneExist" in asked else {})
        answer = self._write(asked["method"], target, query, entry["resource"], headers)
        return {
            "response": {
                "status": str(answer.status_code),
                **({"location": answer.headers["Location"]} if "Location" in answer.headers else {}),
            }
        }

    def _write(self, method: str, target: str, query: str, content: Json, headers: httpx.Headers) -> httpx.Response:
        condition = query or headers.get("If-None-Exist", "")
        if not condition:
            return self._store(content, target if method == "PUT" else "", headers.get("If-Match", ""))
        if not self.conditional:
            return _refused(400, "conditional writes are not known here")
        found = self._found(target, condition)
        if len(found) > 1:
            return _refused(412, "several match")
        if method == "POST" and found:
            return _told(200, found[0], self.kept[found[0]])
        return self._store(content, found[0] if found else "", "")

    def _store(self, content: Json, name: str, match: str) -> httpx.Response:
        if name and name not in self.kept:
            return _refused(404, "not here")
        version = int(self.kept[name]["meta"]["versionId"]) if name else 0
        if match and match.strip('W/"') != str(version):
            return _refused(412, "another version")
        new = name or self.add({"resourceType": content["resourceType"]})
        self.kept[new] = {**content, "id": new.split("/")[1], "meta": {"versionId": str(version + 1)}}
        return _told(200 if name else 201, new, self.kept[new])

    def _found(self, type_: str, query: str) -> list[str]:
        (wanted,) = parse_qs(query)["identifier"]
        system, _, value = wanted.partition("|")
        return [
            name
            for name, one in self.kept.items()
            if name.startswith(f"{type_}/")
            and any(i.get("system") == system and i.get("value") == value for i in one.get("identifier", []))
        ]


def _bundle(kind: str, entries: list[Json]) -> httpx.Response:
    return httpx.Response(200, json={"resourceType": "Bundle", "type": kind, "entry": entries})


def _told(status: int, name: str, resource: Json) -> httpx.Response:
    version = resource["meta"]["versionId"]
    place = f"http://records.test{BASE}/{name}/_history/{version}"
    return httpx.Response(status, json=resource, headers={"Location": place, "ETag": f'W/"{version}"'})


def _refused(status: int, words: str) -> httpx.Response:
    issue = {"severity": "error", "code": "processing", "diagnostics": words}
    return httpx.Response(status, json={"resourceType": "OperationOutcome", "issue": [issue]})
