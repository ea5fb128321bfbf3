"""Every event that is promised to anybody has a code that the service explains."""

import re
from pathlib import Path

from service.actions.urgent_post import SHARE
from service.fhir.writing.message import EVENTS

ACTIONS = Path(__file__).parents[2] / "service" / "actions"


def test_what_is_promised_is_explained_and_nothing_else() -> None:
    found = {name for file in ACTIONS.glob("*.py") for name in re.findall(r'promise\([^"]*"(\w+)"', file.read_text())}
    assert len(found) > 5
    assert found | {SHARE} == set(EVENTS)
