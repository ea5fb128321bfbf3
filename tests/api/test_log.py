"""Log lines: one JSON object each, and of an exception its class alone."""

import json
import logging

from service.api.log import Lines


def record(name: str, text: str, error: BaseException | None = None) -> dict[str, object]:
    made = logging.LogRecord(name, logging.WARNING, "x.py", 1, text, (), (type(error), error, None) if error else None)
    line = Lines().format(made)
    assert "\n" not in line
    return dict(json.loads(line))


def test_our_lines_are_joined_with_time_and_level() -> None:
    line = record("sonoledger.api", json.dumps({"action": "read", "ms": 1.5}))
    assert list(line)[:3] == ["time", "level", "logger"]
    assert line["action"] == "read"
    assert line["ms"] == 1.5
    assert str(line["time"]).endswith("+00:00")


def test_lines_of_others_are_wrapped_and_cannot_break_out() -> None:
    assert record("uvicorn.error", '{"action":"forged"}\n')["message"] == '{"action":"forged"}\n'
    assert record("sonoledger.api", "plain")["message"] == "plain"


def test_of_an_exception_the_class_is_told() -> None:
    line = record("uvicorn.error", "Broken", ValueError("a name"))
    assert line["error"] == "ValueError"
    assert "a name" not in json.dumps(line)
