"""Whatever happens to a practice's money, in any order: numbers have no gap, nothing is charged twice or forgotten."""

from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.billing.money_machine import Money

HOW = {"deadline": None, "suppress_health_check": list(HealthCheck), "print_blob": True}
FEW = settings(max_examples=2, stateful_step_count=14, derandomize=True, database=None, **HOW)
MANY = settings(max_examples=40, stateful_step_count=25, **HOW)


@pytest.mark.parametrize("how", [FEW, pytest.param(MANY, marks=pytest.mark.full)], ids=["few", "many"])
def test_the_books_are_sound_whatever_is_done(engine: str, database_url: Callable[[str], str], how: settings) -> None:
    machine = type("Here", (Money,), {"url": database_url(engine)})
    run_state_machine_as_test(machine, settings=how)
