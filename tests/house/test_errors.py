"""Every refusal has one status and R4's own issue codes; nothing is refused without words."""

import ast
import importlib
import json
import os
import pkgutil
from collections.abc import Iterator
from pathlib import Path

import pytest

import service
from service.api.outcomes import STATUS, outcome, refused, status
from service.basics import errors
from service.basics.errors import Fault, Refusal

ROOT = Path(__file__).parents[2]
DEFINITIONS = Path(os.environ.get("FHIR_R4_DEFINITIONS") or ROOT.parent / "shared" / "fhir-r4-definitions")
DOORS = {"service.app", "service.cli", "service.worker"}

# CodeSystem issue-type of R4 4.0.1, all codes that may be used (http://hl7.org/fhir/R4/codesystem-issue-type.html)
ISSUE_TYPES = frozenset(
    [
        "invalid",
        "structure",
        "required",
        "value",
        "invariant",
        "security",
        "login",
        "unknown",
        "expired",
        "forbidden",
        "suppressed",
        "processing",
        "not-supported",
        "duplicate",
        "multiple-matches",
        "not-found",
        "deleted",
        "too-long",
        "code-invalid",
        "extension",
        "too-costly",
        "business-rule",
        "conflict",
        "transient",
        "lock-error",
        "no-store",
        "exception",
        "timeout",
        "incomplete",
        "throttled",
        "informational",
    ]
)
# The R4 table of HTTP statuses (RESTful API page) and RFC 6585, 9110, 4918 for 428, 408/413/503 and 507
STATUSES = {400, 401, 403, 404, 405, 406, 408, 409, 410, 412, 413, 415, 422, 428, 503, 507}


def refusals(kind: type[Refusal] = Refusal) -> Iterator[type[Refusal]]:
    for child in kind.__subclasses__():
        yield child
        yield from refusals(child)


def sources() -> list[Path]:
    return sorted((ROOT / "service").rglob("*.py"))


def test_every_refusal_of_the_service_has_a_status() -> None:
    for module in pkgutil.walk_packages(service.__path__, "service."):
        if module.name not in DOORS:  # doors define nothing
            importlib.import_module(module.name)
    found = set(refusals())
    assert len(found) >= 15
    for kind in found:
        assert status(kind())[0] in STATUSES, kind
    own = {kind for kind in found if kind.__module__ == errors.__name__}
    assert own <= set(STATUS), "each class of basics/errors.py has a row of its own"


def test_statuses_are_told_apart() -> None:
    rows = [code for kind, (code, _) in STATUS.items() if kind is not Refusal]
    assert len(rows) == len(set(rows)), "one status for each kind of refusal"


@pytest.mark.parametrize("kind", sorted(STATUS, key=lambda kind: kind.__name__))
def test_a_refusal_without_faults_still_says_why(kind: type[Refusal]) -> None:
    issue = outcome(kind())["issue"]
    assert len(issue) == 1
    assert issue[0]["code"] in ISSUE_TYPES
    assert issue[0]["details"]["text"] == kind.__doc__


def test_what_is_told_of_a_fault() -> None:
    answer = refused(errors.Busy(Fault("lock-error", "Taken.", "Task.status"), retry_after=7))
    assert answer.status == 503
    assert (b"retry-after", b"7") in answer.headers
    issue = json.loads(answer.body)["issue"][0]
    assert issue == {
        "severity": "error",
        "code": "lock-error",
        "details": {"text": "Taken."},
        "diagnostics": "Task.status: Taken.",
        "expression": ["Task.status"],
    }
    assert (b"allow", b"GET, HEAD") in refused(errors.NotAllowed(), allow="GET, HEAD").headers
    assert b"www-authenticate" in dict(refused(errors.Unrecognised()).headers)


def test_every_fault_in_the_sources_has_a_code_of_r4() -> None:
    strays = []
    for path in sources():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            named = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Fault"
            if named and node.args and isinstance(node.args[0], ast.Constant) and node.args[0].value not in ISSUE_TYPES:
                strays.append(f"{path.relative_to(ROOT)}:{node.lineno} {node.args[0].value}")
    assert strays == []


def test_no_status_is_spoken_of_below_the_face() -> None:
    rooms = ["access", "actions", "basics", "billing", "catalogue", "exam", "fhir", "store"]
    telling = [
        str(path.relative_to(ROOT))
        for room in rooms
        for path in (ROOT / "service" / room).rglob("*.py")
        if "status_code" in path.read_text(encoding="utf-8") or "HTTPException" in path.read_text(encoding="utf-8")
    ]
    assert telling == []


def test_the_codes_are_those_of_the_published_value_set() -> None:
    file = DEFINITIONS / "required-value-sets.ndjson"
    if not file.exists():
        pytest.skip(f"HL7's definitions are not at {DEFINITIONS}; FHIR_R4_DEFINITIONS may name their folder")
    sets = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    published = next(
        one["codes"] for one in sets if one["valueSet"].startswith("http://hl7.org/fhir/ValueSet/issue-type|")
    )
    assert set(published["http://hl7.org/fhir/issue-type"]) == ISSUE_TYPES
