"""The demo as a newcomer runs it: one command, the figures it ends with, what it leaves, what it stops."""

import json
import os
import re
import resource
import signal
import socket
import subprocess
import sys
import time
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx
import pytest
from fhir.resources.R4B import get_fhir_model_class

from service.fhir import uris

DEMO = [sys.executable, "-m", "service.cli", "demo"]
FILES = {
    "cat-credit.html",
    "cat-credit.json",
    "cat-invoice.html",
    "cat-invoice.json",
    "cat-report.html",
    "cat-report-withdrawn.html",
    "dog-delivered-bundle.json",
    "dog-invoice.html",
    "dog-invoice.json",
    "dog-report.html",
    "dog-report-amended.html",
    "record-system.log",
    "service.log",
}


@dataclass(frozen=True)
class Played:
    """What one run of `demo --json --keep` printed and left, what was asked while it stayed up, how it ended."""

    text: str
    figures: dict[str, Any]
    folder: Path
    report_there: dict[str, Any]
    code: int
    ports: tuple[int, ...]
    processor_seconds: float
    busy: bool


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Played:
    folder = tmp_path_factory.mktemp("demo") / "left"
    load, used = os.getloadavg()[0], resource.getrusage(resource.RUSAGE_CHILDREN)
    line = [*DEMO, "--folder", str(folder), "--json", "--keep"]
    demo = subprocess.Popen(line, stdout=subprocess.PIPE, text=True, start_new_session=True)
    try:
        text = _until_figures(demo)
        there = _asked_by_the_curl_line(text)
        demo.send_signal(signal.SIGINT)
        code = demo.wait(timeout=60)
    finally:
        demo.kill()
        demo.communicate()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return Played(
        text=text,
        figures=json.loads(text.splitlines()[-1], parse_float=Decimal),
        folder=folder,
        report_there=there,
        code=code,
        ports=tuple(sorted({int(port) for port in re.findall(r"http://127\.0\.0\.1:(\d+)", text)})),
        processor_seconds=after.ru_utime + after.ru_stime - used.ru_utime - used.ru_stime,
        busy=load > 0.5 * (os.cpu_count() or 1),
    )


def _until_figures(demo: subprocess.Popen[str]) -> str:
    assert demo.stdout is not None
    lines = []
    for line in demo.stdout:
        lines.append(line)
        if line.startswith("{"):
            return "".join(lines)
    raise AssertionError(f"the demo ended with {demo.wait()} after: {''.join(lines[-5:])}")


def _asked_by_the_curl_line(text: str) -> dict[str, Any]:
    """What the last line to try brings back, with the token and the address printed above it."""
    token, base = re.findall(r"TOKEN=(\S+); AT=(\S+)", text)[-1]
    path = re.findall(r'"\$AT/([^"]+)"', text)[-1]
    answer = httpx.get(f"{base}/{path}", headers={"Authorization": f"Bearer {token}"}, trust_env=False)
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()["entry"][0]["resource"]
    return found


def test_the_figures_are_those_of_the_story(played: Played) -> None:
    figures = played.figures
    assert {k: figures[k] for k in ("exams", "refused_finish", "reports_final", "charge_items", "delivered")} == {
        "exams": 2,
        "refused_finish": 1,
        "reports_final": 2,
        "charge_items": 4,
        "delivered": 9,
    }
    assert figures["steps"] > 80
    assert figures["owed_before"] > figures["steps"]


def test_the_invoices_add_up_and_the_withdrawn_one_comes_to_nothing(played: Played) -> None:
    dog, cat, credit = played.figures["invoices"]
    # 185.00 + 35.00 + 62.00 at 20 %: tax of the sum, rounded once (EN 16931, BR-CO-17)
    assert (dog["net"], dog["tax"], dog["gross"]) == (Decimal("282.00"), Decimal("56.40"), Decimal("338.40"))
    assert (cat["net"], cat["tax"], cat["gross"]) == (Decimal("98.00"), Decimal("19.60"), Decimal("117.60"))
    assert [cat[k] + credit[k] for k in ("net", "tax", "gross")] == [0, 0, 0]
    assert len({i["number"] for i in (dog, cat, credit)}) == 3
    assert {i["currency"] for i in (dog, cat, credit)} == {"EUR"}


def test_everything_is_left_in_the_folder_and_named(played: Played) -> None:
    assert {p.name for p in played.folder.iterdir()} == FILES
    for name in FILES:
        assert str(played.folder / name) in played.text.replace("\n         ", "")


def test_the_report_left_says_what_was_not_seen(played: Played) -> None:
    report = (played.folder / "dog-report.html").read_text(encoding="utf-8")
    assert "Bramblewick" in report
    assert "Uterine or vaginal stump" in report
    assert "5.60 mm" in report
    assert "Repeat the scan of the gallbladder in 8 weeks" not in report
    assert "Repeat the scan of the gallbladder in 8 weeks" in _read(played, "dog-report-amended.html")
    cat = _read(played, "cat-report.html")
    assert "Not examined" in cat
    assert "breathing hard and fast" in cat
    assert "Looked for, not seen" not in cat


def test_the_delivered_bundle_is_read_by_others_and_tells_theirs_by_their_own_numbers(played: Played) -> None:
    text = _read(played, "dog-delivered-bundle.json")
    bundle = get_fhir_model_class("Bundle").model_validate_json(text)  # fhir.resources, R4B
    assert bundle.type == "transaction"
    kinds = {e.resource.get_resource_type() for e in bundle.entry}
    assert {"DiagnosticReport", "Observation", "Invoice", "ChargeItem", "Procedure", "Task"} <= kinds
    assert not {"Patient", "RelatedPerson", "ServiceRequest"} & kinds
    assert "Patient?identifier=https://records.pebblemoor.example/animals|EX-ANIMAL-dog" in text.replace("%7C", "|")
    assert '"value":0.63' in text
    assert '"value":18.40' in text


def test_the_record_system_holds_the_last_version(played: Played) -> None:
    assert played.report_there["status"] == "appended"
    assert any(i["system"] == uris.ID for i in played.report_there["identifier"])


def test_what_was_refused_is_told_with_its_reason(played: Played) -> None:
    told = " ".join(played.text.split())
    for words in (
        "Only dogs and cats can be scanned here",
        "recorded as dead",
        "Unknown order code",
        "Wall thickness of 12 cm lies outside what is plausible",
        "refused: 7 things are still owed",
    ):
        assert words in told


def test_each_process_stays_small(played: Played) -> None:
    told = re.findall(r"(?:service|record system|story) (\d+)\s+MB", " ".join(played.text.split()))
    assert len(told) == 3
    assert max(map(int, told)) < 160


def test_it_is_over_soon(played: Played) -> None:
    # Two processors at work for twenty seconds; the clock itself says little while other tests run beside it.
    assert played.processor_seconds < 40
    if not played.busy:
        assert played.figures["seconds"] < 20


def test_ctrl_c_stops_everything_it_started(played: Played) -> None:
    assert played.code == 0
    assert len(played.ports) == 2
    for port in played.ports:
        with socket.socket() as knock:
            assert knock.connect_ex(("127.0.0.1", port)) != 0


def test_a_folder_that_cannot_be_made_is_one_clear_line(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    line = [*DEMO, "--folder", str(tmp_path / "taken")]
    done = subprocess.run(line, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 1
    assert len(done.stderr.splitlines()) == 1
    assert done.stderr.startswith("sonoledger: demo: ")


def test_a_service_that_cannot_start_is_one_clear_line_and_leaves_nothing_behind(tmp_path: Path) -> None:
    broken = tmp_path / "sitecustomize.py"  # every child of this environment ends at once, in its own words
    broken.write_text("import os, sys\nif 'serve' in sys.argv: os.write(2, b'no room here\\n'); os._exit(9)\n")
    environment = {**os.environ, "PYTHONPATH": str(tmp_path)}
    began = time.monotonic()
    line = [*DEMO, "--folder", str(tmp_path / "left")]
    done = subprocess.run(line, capture_output=True, text=True, timeout=120, check=False, env=environment)
    assert done.returncode == 1, done.stdout
    assert done.stderr == "sonoledger: demo: the service did not start: no room here\n"
    assert time.monotonic() - began < 110


def _read(played: Played, name: str) -> str:
    return (played.folder / name).read_text(encoding="utf-8")
