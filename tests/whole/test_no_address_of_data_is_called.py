"""Addresses in every field that takes one, written, read, searched, validated and delivered: none of them is called.

Forms are those of the OWASP cheat sheet on server-side request forgery; fields are R4's url, uri, canonical and
reference types. Watched are a listener at those addresses, and every connection and name of the two processes."""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from tests.builders.instances import Instance
from tests.builders.processes import Process
from tests.builders.subscriber import subscriber

Json = dict[str, Any]
pytestmark = pytest.mark.full


def addresses(port: int) -> list[str]:
    hosts = (
        *("127.0.0.1", "127.1", "2130706433", "0x7f000001", "0177.0.0.1", "localhost", "[::1]", "[::ffff:127.0.0.1]"),
        *("0", "0.0.0.0", "user@127.0.0.1", "127.0.0.1.canary.example", "canary.example@127.0.0.1"),
    )
    forms = [f"http://{host}:{port}/hit" for host in hosts] + [f"https://{host}:{port}/hit" for host in hosts[:4]]
    others = ["http://169.254.169.254/latest/meta-data/", "http://canary.example/hit", "https://canary.example/hit"]
    odd = [
        "file:///etc/passwd",
        f"gopher://127.0.0.1:{port}/_x",
        f"//127.0.0.1:{port}/hit",
        f"ftp://127.0.0.1:{port}/x",
    ]
    return [*forms, *others, *odd]


def resources(url: str) -> Iterator[Json]:
    """Resources with the address wherever an address can stand."""
    meta = {"profile": [url], "source": url, "tag": [{"system": url, "code": "a"}]}
    marked = {"meta": meta, "extension": [{"url": url, "valueUri": url}], "implicitRules": url}
    attached = {"contentType": "application/pdf", "url": url}
    subject = {"reference": f"{url}/Patient/1", "identifier": {"system": url, "value": "1"}}
    code = {"coding": [{"system": url, "code": "a"}], "text": "invented"}
    yield {"resourceType": "Patient", **marked, "identifier": [{"system": url, "value": "1"}], "photo": [attached]}
    yield {"resourceType": "Observation", **marked, "status": "final", "code": code, "subject": subject}
    yield {
        "resourceType": "Media",
        **marked,
        "status": "completed",
        "content": attached,
        "subject": subject,
    }
    yield {
        "resourceType": "DocumentReference",
        **marked,
        "status": "current",
        "content": [{"attachment": attached, "format": {"system": url, "code": "x"}}],
    }
    yield {
        "resourceType": "DiagnosticReport",
        **marked,
        "status": "final",
        "code": code,
        "subject": subject,
        "presentedForm": [attached],
    }
    yield {
        "resourceType": "Endpoint",
        "status": "active",
        "connectionType": code["coding"][0],
        "payloadType": [code],
        "address": url,
    }
    yield {
        "resourceType": "Subscription",
        "status": "requested",
        "reason": "r",
        "criteria": "Patient?active=true",
        "channel": {"type": "rest-hook", "endpoint": url},
    }
    yield {
        "resourceType": "Subscription",
        "status": "requested",
        "reason": "r",
        "criteria": url,
        "channel": {"type": "rest-hook", "endpoint": url},
    }
    yield {
        "resourceType": "Communication",
        **marked,
        "status": "completed",
        "instantiatesUri": [url],
        "instantiatesCanonical": [url],
        "payload": [{"contentAttachment": attached}, {"contentReference": subject}],
    }
    yield {
        "resourceType": "Task",
        **marked,
        "status": "requested",
        "intent": "order",
        "instantiatesCanonical": url,
        "focus": subject,
        "for": subject,
        "input": [{"type": {"text": "a"}, "valueUrl": url}],
    }
    yield {
        "resourceType": "Organization",
        **marked,
        "name": "n",
        "endpoint": [subject],
        "telecom": [{"system": "url", "value": url}],
    }


def asked(client: httpx.Client, url: str, made: list[str]) -> Iterator[httpx.Response]:
    """Everything that reads what was written, or that takes an address itself."""
    for place in made:
        yield client.get(place)
        yield client.get(f"{place}/$meta")
    for type_ in ("Observation", "Media", "Task", "Patient"):
        for name in ("_profile", "identifier", "subject", "_source", "code:in", "_include"):
            yield client.get(type_, params={name: url})
    for place in (one for one in made if one.startswith("Patient/")):
        yield client.get(f"{place}/$everything")
    for place in (one for one in made if one.startswith("DiagnosticReport/")):
        yield client.get(f"{place}/$as-document")
        yield client.get(f"{place}/$form")
    for resource in resources(url):
        checked = {
            "resourceType": "Parameters",
            "parameter": [{"name": "resource", "resource": resource}, {"name": "profile", "valueUri": url}],
        }
        yield client.post(f"{resource['resourceType']}/$validate", content=json.dumps(checked))
    entry = {"fullUrl": url, "resource": {"resourceType": "Flag"}, "request": {"method": "POST", "url": url}}
    for kind in ("transaction", "batch", "message", "collection"):
        bundle = {"resourceType": "Bundle", "type": kind, "link": [{"relation": "next", "url": url}], "entry": [entry]}
        yield client.post("", content=json.dumps(bundle))
    yield client.get(
        "metadata", headers={"X-Forwarded-Host": "canary.example", "Forwarded": f"host={url}", "Referer": url}
    )
    form = {"grant_type": "client_credentials", "client_assertion": url, "jku": url, "client_assertion_type": url}
    yield client.post("oauth/token", data=form, headers={"Content-Type": "application/x-www-form-urlencoded"})


@pytest.mark.parametrize("kind", ["practice", "records"])
def test_none_is_called(kind: str, engine: str, database_url: Any, tmp_path: Path) -> None:
    seen = tmp_path / "connections"
    instance = Instance(database_url(engine), tmp_path / "instance")
    instance.environ["WATCHED_CONNECTIONS"] = str(seen)
    answers = 0
    with subscriber() as canary, subscriber() as destination:
        try:
            _watched(instance)
            slug = instance.organization(kind)
            instance.send_to(slug, destination.url.removesuffix("/hook") + "/fhir")
            with instance.client(instance.token(slug), judged=False) as client:
                for url in addresses(int(canary.url.split(":")[2].split("/")[0])):
                    made = []
                    for resource in resources(url):
                        answer = client.post(resource["resourceType"], content=json.dumps(resource))
                        assert answer.status_code < 500, (url, answer.text)
                        if answer.status_code == 201:
                            made.append(answer.headers["location"].partition("/fhir/")[2].partition("/_history")[0])
                    for answer in asked(client, url, made):
                        assert answer.status_code < 500, (url, answer.request.url, answer.text)
                        answers += 1
        finally:
            instance.close()
        assert answers > 800
        assert canary.told == []
    names = set(re.findall(r"^socket\.(\S+) (.*)$", seen.read_text(), re.MULTILINE))
    database = instance.database.rpartition(":")[2].partition("/")[0]
    strange = [
        one
        for one in names
        if "canary" in one[1]
        or "169.254" in one[1]
        or (one[0] == "connect" and "('" in one[1] and database not in one[1])
    ]
    assert strange == []


def test_the_watch_sees_a_connection(tmp_path: Path) -> None:
    seen = tmp_path / "connections"
    words = "import asyncio, httpx\nasyncio.run(httpx.AsyncClient().get({!r}))"
    with subscriber() as canary:
        code = f"from tests.whole.watched_process import watch\nwatch({str(seen)!r})\n{words.format(canary.url)}"
        subprocess.run([sys.executable, "-c", code], check=False, capture_output=True, timeout=60)
        port = canary.url.split(":")[2].split("/")[0]
    assert re.search(rf"socket.connect .*{port}", seen.read_text())


def _watched(instance: Instance) -> None:
    """A server and a courier of the watched module."""
    instance.serve(1)
    server = instance.servers[0]
    server.stop()
    server.command = [
        sys.executable,
        "-m",
        "tests.whole.watched_process",
        "serve",
        "--port",
        str(server.port),
        "--with-courier",
    ]
    server.start()
    server.ready()
    assert isinstance(server, Process)
