"""The operations of an exam, and $validate, as far as they are the face's."""

import httpx
import pytest

from tests.api.conftest import JSON

GIVEN = {"resourceType": "Parameters", "parameter": [{"name": "conclusion", "valueString": "Nothing found."}]}


def test_an_operation_answers_what_its_action_gave(rest: httpx.Client) -> None:
    answer = rest.post("/fhir/Task/an-exam/$finish", json=GIVEN, headers=JSON)
    assert answer.status_code == 200
    assert answer.json()["id"] == "an-exam"
    assert answer.headers["etag"] == 'W/"7"'


def test_parameters_may_be_left_out(rest: httpx.Client) -> None:
    for headers, body in [({}, b""), (JSON, b'{"resourceType":"Parameters"}')]:
        answer = rest.post("/fhir/Task/an-exam/$finish", content=body, headers=headers)
        assert answer.status_code == 422
        assert len(answer.json()["issue"]) == 2
        assert {one["severity"] for one in answer.json()["issue"]} == {"error"}


def test_a_refusal_of_the_action_is_told(rest: httpx.Client) -> None:
    answer = rest.post("/fhir/Task/an-exam/$amend", json=GIVEN, headers=JSON)
    assert answer.status_code == 409
    assert "not finished" in answer.json()["issue"][0]["details"]["text"]


def test_a_fault_of_ours_tells_nothing(rest: httpx.Client, caplog: pytest.LogCaptureFixture) -> None:
    why = {"resourceType": "Parameters", "parameter": [{"name": "reason", "valueString": "Mistaken."}]}
    answer = rest.post("/fhir/Task/an-exam/$withdraw", json=why, headers=JSON)
    assert answer.status_code == 500
    assert "1234" not in answer.text + caplog.text
    assert "ZeroDivisionError" in caplog.text
    assert "twins.py" in caplog.text


@pytest.mark.parametrize("body", [{"resourceType": "Task"}, GIVEN | {"nonsense": 1}, []])
def test_an_operation_takes_sound_parameters_only(rest: httpx.Client, body: object) -> None:
    assert rest.post("/fhir/Task/an-exam/$finish", json=body, headers=JSON).status_code == 400


def test_what_an_operation_does_not_take_is_told_and_nothing_is_done(rest: httpx.Client) -> None:
    """$credit takes back all that is left without a `line`: a misspelt one may not be passed over."""
    line = [{"name": "sequence", "valuePositiveInt": 1}, {"name": "amuont", "valueInteger": 2}]
    given = [
        {"name": "lines", "part": line},
        {"name": "line", "part": line},
        {"name": "by", "valueString": "A. Clerk"},
        {"name": "by", "valueString": "B. Clerk"},
    ]
    body = {"resourceType": "Parameters", "parameter": given}
    answer = rest.post("/fhir/Task/an-exam/$credit", json=body, headers=JSON)
    assert answer.status_code == 400
    told = {one["expression"][0]: one["details"]["text"] for one in answer.json()["issue"]}
    assert set(told) == {
        "Parameters.parameter[0]",
        "Parameters.parameter[1].part[1]",
        "Parameters.parameter[3]",
    }
    assert told["Parameters.parameter[0]"].endswith("reason, by, invoice, line.")
    assert told["Parameters.parameter[1].part[1]"].endswith("sequence, quantity, amount.")
    assert "once" in told["Parameters.parameter[3]"]


def test_a_value_of_another_type_and_a_reason_without_end_are_told(rest: httpx.Client) -> None:
    """`again` as a text would have billed nothing anew, and said nothing."""
    for name, given, words in (
        ("bill", {"name": "again", "valueString": "true"}, "`again` is a boolean, not valueString."),
        ("bill", {"name": "by", "valueBoolean": True}, "`by` is a string, not valueBoolean."),
        ("credit", {"name": "reason", "valueInteger": 7}, "`reason` is a string, not valueInteger."),
        ("credit", {"name": "line", "valueInteger": 1}, "`line` is given in parts, not valueInteger."),
        ("credit", {"name": "reason", "valueString": "r" * 1001}, "`reason` has at most 1,000 characters."),
        ("consent", {"name": "amount", "valueDecimal": 60}, "`amount` is a Money, not valueDecimal."),
        ("amend", {"name": "observation", "valueString": "x"}, "`observation` is a Resource, not valueString."),
    ):
        body = {"resourceType": "Parameters", "parameter": [given]}
        answer = rest.post(f"/fhir/Task/an-exam/${name}", json=body, headers=JSON)
        assert answer.status_code == 400, name
        (issue,) = answer.json()["issue"]
        assert (issue["expression"], issue["details"]["text"]) == (["Parameters.parameter[0]"], words)
    part = [{"name": "sequence", "valueString": "1"}]
    body = {"resourceType": "Parameters", "parameter": [{"name": "line", "part": part}]}
    answer = rest.post("/fhir/Task/an-exam/$credit", json=body, headers=JSON)
    assert answer.json()["issue"][0]["expression"] == ["Parameters.parameter[0].part[0]"]


def test_operations_are_offered_on_tasks_only(rest: httpx.Client) -> None:
    for path in ("/fhir/Patient/x/$finish", "/fhir/Task/$finish", "/fhir/Task/x/$weigh", "/fhir/$finish"):
        assert rest.post(path, json=GIVEN, headers=JSON).status_code == 404
