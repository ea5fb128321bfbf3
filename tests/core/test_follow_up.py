"""A recheck and a fluid check are priced by the full surveys of the same animal: knowledge of the trade, no source."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from service.billing.charge import Cut
from service.billing.follow_up import FullSurvey, followed
from service.billing.situation import Conditions, Situation
from service.billing.tariff import concerns
from tests.builders.money import PRACTICE
from tests.builders.priced_house import price

DAY = date(2026, 11, 25)


def line(scope: str, *days: str, **settings: object) -> Cut:
    fulls = [FullSurvey(f"Task/{day}", date.fromisoformat(day)) for day in days]
    practice = replace(PRACTICE, **settings)
    return followed(Cut(scope), scope, fulls, day=DAY, practice=practice, limited="limited")


@pytest.mark.parametrize(
    ("days", "charged"),
    [
        (("2026-10-26",), "recheck"),  # 30 days before
        (("2026-10-25",), "limited"),  # 31 days before
        (("2026-11-25",), "recheck"),  # the same day
        (("2026-11-26",), "limited"),  # nothing is checked again before it was looked at
        (("2026-01-01", "2026-11-24"), "recheck"),
        ((), "limited"),
    ],
)
def test_a_recheck_has_its_own_price_within_the_days_that_the_practice_set(
    days: tuple[str, ...], charged: str
) -> None:  # fmt: skip
    cut = line("recheck", *days, recheck_days=30)
    assert cut.code == charged
    assert bool(cut.why) is (charged == "limited")


def test_without_a_number_of_days_a_recheck_is_a_recheck() -> None:
    assert line("recheck") == Cut("recheck")


@pytest.mark.parametrize(
    ("apart", "day", "charged"),
    [(True, "2026-11-25", True), (False, "2026-11-25", False), (False, "2026-11-24", True)],
)
def test_a_fluid_check_gives_way_to_the_full_survey_of_its_day_where_the_practice_says_so(
    apart: bool, day: str, charged: bool
) -> None:
    cut = line("fluid-check", day, fluid_check_apart=apart)
    assert bool(cut.code) is charged
    assert charged or f"Task/{day}" in cut.why


def test_no_other_scope_hangs_on_a_full_survey() -> None:
    for scope in ("full", "limited"):
        assert line(scope, "2026-11-25", recheck_days=0, fluid_check_apart=False) == Cut(scope)


@pytest.mark.parametrize(
    ("at", "due"),
    [
        (Situation(priority="stat"), True),
        (Situation(priority="urgent"), False),  # no row of the list is for such an exam: nothing is due
        (Situation(priority="stat", weight_kg=None), True),
    ],
)
def test_a_circumstance_is_due_where_a_row_of_the_price_list_can_apply(at: Situation, due: bool) -> None:
    slot = price("slot", 3800, when=Conditions(priorities=("stat",)))
    assert concerns([slot], "slot", organization="blue", on=DAY, at=at) is due
    assert concerns([], "slot", organization="blue", on=DAY, at=at) is False
    assert concerns([replace(slot, valid_to=date(2026, 1, 2))], "slot", organization="blue", on=DAY, at=at)
    assert not concerns([slot], "slot", organization="blue", on=date(2025, 12, 31), at=at)  # before there was one
    heavy = price("slot", 3800, when=Conditions(weight_from=Decimal(10)))
    assert concerns([heavy], "slot", organization="blue", on=DAY, at=at)  # hangs on a weight that nobody knows
