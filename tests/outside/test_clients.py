"""Clients written by others (PyPI fhirpy and fhirclient, npm fhir-kit-client) work with the service as they are.

Every body that they received is then judged by fhirkit-rs, by npm fhir and by the generated schema."""

import json
import re
import subprocess
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import fhirkit
import httpx
import pytest

from service.fhir import exact, validate
from service.store import SqlBooks
from tests.api.running import register
from tests.builders import orders
from tests.outside import installed
from tests.outside.recorded import Recorder, serving

pytestmark = pytest.mark.full


@dataclass(frozen=True)
class Open:
    """The service, as a client of a new organisation sees it."""

    base: str
    recorder: Recorder
    books: SqlBooks

    def driven(self, *command: str | Path, cwd: Path | None = None) -> None:
        """Run a driver against it; fails with what the driver said."""
        token = register(self.books, f"records-{uuid.uuid4().hex[:12]}")
        done = subprocess.run([*command, self.base, token], capture_output=True, text=True, timeout=120, cwd=cwd)
        assert done.returncode == 0, done.stdout[-1000:] + done.stderr[-3000:]
        assert self.recorder.broken == []


@pytest.fixture(scope="module")
def service(module_books: SqlBooks) -> Iterator[Open]:
    with serving(module_books) as (base, recorder):
        yield Open(base, recorder, module_books)


def test_fhirpy(service: Open) -> None:
    service.driven(installed.python(), installed.CLIENTS / "drive_fhirpy.py")


def test_fhirclient(service: Open) -> None:
    service.driven(installed.python(), installed.CLIENTS / "drive_fhirclient.py")


def test_fhir_kit_client(service: Open) -> None:
    folder = installed.node()
    service.driven("node", folder / "drive_kit.mjs", cwd=folder)


def test_a_whole_exam_for_the_judges(service: Open) -> None:
    """Ordered, stopped early, reported and billed; then everything that came of it is read, as a practice reads it."""
    token = register(service.books, f"practice-{uuid.uuid4().hex[:12]}", kind="practice")
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/fhir+json"}
    with httpx.Client(base_url=f"{service.base}/", headers=headers, timeout=30, trust_env=False) as http:
        http.post("", json=orders.bundle()).raise_for_status()
        exam = http.get("Task?code=fulfill").json()["entry"][0]["resource"]["id"]
        station = [{"name": "station", "valuePositiveInt": 1}, {"name": "performer", "valueString": "Examiner"}]
        settled = {"resourceType": "Parameters", "parameter": station}
        http.post(f"Task/{exam}/$settle", json=settled).raise_for_status()
        said = {"interpreter": "Interpreter", "conclusion": "Stopped early.", "detail": "Emergency in the next room."}
        parameter = [{"name": name, "valueString": value} for name, value in said.items()]
        parameter.append({"name": "remaining", "valueCode": "time-limited"})
        body = {"resourceType": "Parameters", "parameter": parameter}
        http.post(f"Task/{exam}/$finish", json=body).raise_for_status()
        for type_ in ("Task", "DiagnosticReport", "Observation", "ChargeItem", "Procedure", "AuditEvent"):
            assert http.get(f"{type_}?_count=100").raise_for_status().json()["entry"], type_
        http.get("_history?_count=100").raise_for_status()
        for type_ in ("PlanDefinition", "CodeSystem", "ValueSet", "ConceptMap", "StructureDefinition", "metadata"):
            http.get(type_).raise_for_status()


def test_every_body_that_they_received_is_valid_for_fhirkit_rs_and_for_our_schema(service: Open) -> None:
    assert len(service.recorder.bodies) > 100, "the clients run first"
    for text in service.recorder.bodies:
        assert validate.check(exact.decode(text)) == [], text[:300]
        errors = [f"{one.path}: {one.message}" for one in fhirkit.validate(text) if one.severity == "error"]
        assert errors == [], text[:300]


def test_every_body_that_they_received_is_valid_for_npm_fhir(service: Open) -> None:
    spoilt = b'{"resourceType":"Patient","gender":"puppy","tail":true}'
    *faults, judged = npm_faults([*service.recorder.bodies, spoilt])
    assert judged["type"] == "Patient", "the judge does judge"
    assert [one for one in faults if one["body"] < len(service.recorder.bodies) and not _nothing(one)] == []


def _nothing(fault: dict[str, Any]) -> bool:
    """npm fhir takes 0 and false for no value at all: the grade of a word, and whether it is the one expected.

    The judges above know them for values, in the same bodies."""
    place = r"CodeSystem\.concept\[\d+\]\.property\[\d+\]\.value\[x\]"
    return fault["message"] == "Missing property" and re.fullmatch(place, fault["location"]) is not None


def npm_faults(bodies: list[bytes]) -> list[dict[str, Any]]:
    """What npm fhir finds wrong, each with the number of the body."""
    words = {"input": b"\n".join(bodies), "capture_output": True, "timeout": 120}
    done = subprocess.run(["node", "judge.mjs"], cwd=installed.node(), **words)
    assert done.returncode == 0, done.stderr[-2000:]
    return [json.loads(line) for line in done.stdout.splitlines()]
