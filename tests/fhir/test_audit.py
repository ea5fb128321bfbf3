"""Lines of the audit as AuditEvents: valid to three judges, and told as IHE's audit patterns tell it."""

import json
from typing import Any

import pytest

from service.basics.stored import Trace
from service.fhir import exact, uris, validate
from service.fhir.writing.audit import audit_event
from tests.api.judges import judge
from tests.builders.audit_lines import BASE, LINES, READ

Json = dict[str, Any]


def rendered(line: Trace) -> Json:
    return audit_event(line, organization="practice-a", base=BASE)


@pytest.mark.parametrize("line", LINES.values(), ids=LINES.keys())
def test_every_line_is_an_audit_event_of_r4(line: Trace) -> None:
    event = rendered(line)
    assert validate.check(event) == []
    assert judge(exact.encode(event)) == event  # fhirkit-rs and the R4B models
    assert event["type"]["code"] == "rest"
    assert (event["recorded"], event["action"], event["outcome"]) == (line.recorded, line.action, line.outcome)
    assert [one["code"] for one in event.get("subtype", [])] == [c for c in (line.interaction, line.operation) if c]


def test_who_asked_whom_is_told_as_the_audit_patterns_tell_it() -> None:
    """IHE BALP 1.1.3, profiles Read and Create: roles of DICOM PS3.15 110152 and 110153, the request's entity."""
    client, server = rendered(READ)["agent"]
    assert client["type"]["coding"][0]["code"] == "110152"
    assert server["type"]["coding"][0]["code"] == "110153"
    assert (client["requestor"], server["requestor"]) == (True, False)
    assert client["who"]["identifier"] == {"system": uris.ORGANIZATION, "value": "practice-a"}
    assert client["name"] == "scanner room"
    assert server["network"] == {"address": BASE, "type": "5"}
    client, server = rendered(LINES["create"])["agent"]
    assert client["type"]["coding"][0]["code"] == "110153"
    assert server["type"]["coding"][0]["code"] == "110152"
    last = rendered(READ)["entity"][-1]
    assert (last["type"]["code"], last["what"]) == ("XrequestId", {"identifier": {"value": "req-1"}})


def test_what_was_touched_is_named_once_each_and_no_query_ever() -> None:
    def touched(name: str) -> list[str]:
        return [one["what"]["reference"] for one in rendered(LINES[name])["entity"][:-1]]

    assert touched("read") == ["Patient/p1"]
    assert touched("nothing of it") == ["Patient/nobody"]
    assert touched("search") == ["Patient/p1", "Patient/p2"]
    assert touched("finish") == ["Task/t1", "DiagnosticReport/d1"]
    assert rendered(LINES["nothing found"])["entity"][0]["type"]["code"] == "Patient"
    assert len(rendered(LINES["a method without a name"])["entity"]) == 1
    assert all('"query"' not in json.dumps(rendered(line)) for line in LINES.values())
