"""Worlds of organisations side by side, one for each engine and size, made when the first test asks."""

import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from service.fhir import definitions
from tests.isolation.world import World, world

DEFINITIONS = Path(os.environ.get("R4_DEFINITIONS") or Path(__file__).parents[3] / "shared" / "fhir-r4-definitions")
Open = Callable[[bool], World]


@pytest.fixture(scope="module")
def open_world(engine: str, database_url: Callable[[str], str]) -> Iterator[Open]:
    """Call it for the world of this engine; whole: with exams and more of everything."""
    if not DEFINITIONS.is_dir() and not os.environ.get("REQUIRE_OUTSIDE"):
        pytest.skip(f"HL7's definitions are not at {DEFINITIONS}; R4_DEFINITIONS may name them")
    made: dict[bool, World] = {}
    with ExitStack() as worlds:

        def opened(whole: bool) -> World:
            if whole not in made:
                read = definitions.read(DEFINITIONS)
                made[whole] = worlds.enter_context(world(database_url(engine), read, turns=1 + whole, whole=whole))
            return made[whole]

        yield opened
