"""Dates, ages, lists and digits as people read them."""

from datetime import UTC, date, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.exam import report_words as words


@given(st.decimals(min_value=Decimal("-1e6"), max_value=Decimal("1e6"), places=4))
def test_digits_lose_nothing(value: Decimal) -> None:
    assert Decimal(words.digits(value)).as_tuple() == value.as_tuple()


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("2026-11-25T13:04:29.123Z", "25 November 2026, 14:04 (UTC+01:00)"),
        ("2026-11-25T23:30:00-05:00", "26 November 2026, 05:30 (UTC+01:00)"),
        ("2026-11-25", "25 November 2026"),
        ("2026-11", "2026-11"),
        ("", "not stated"),
    ],
)
def test_a_moment_is_shown_in_the_practices_zone_with_its_offset(text: str, shown: str) -> None:
    assert words.moment(text, zone=timezone(timedelta(hours=1))) == shown


def test_a_moment_in_utc_names_no_offset() -> None:
    assert words.moment("2026-01-02T03:04:05Z", zone=UTC) == "2 January 2026, 03:04 (UTC)"


@pytest.mark.parametrize(
    ("born", "at", "shown"),
    [
        (date(2026, 11, 20), date(2026, 11, 25), "0 months"),
        (date(2026, 10, 26), date(2026, 11, 25), "0 months"),
        (date(2026, 10, 25), date(2026, 11, 25), "1 month"),
        (date(2024, 12, 25), date(2026, 11, 25), "23 months"),
        (date(2024, 11, 25), date(2026, 11, 25), "2 years"),
        (date(2020, 2, 29), date(2026, 3, 1), "6 years"),
        (date(2016, 10, 1), date(2026, 11, 25), "10 years 1 month"),
        (date(2027, 1, 1), date(2026, 11, 25), ""),
    ],
)
def test_age_in_completed_months_then_years(born: date, at: date, shown: str) -> None:
    assert words.age(born, at) == shown


@pytest.mark.parametrize(
    ("parts", "mark", "shown"),
    [((), ",", ""), (("a",), ",", "a"), (("a", "b"), ",", "a and b"), (("a", "b", "c"), ",", "a, b and c"),
     (("a, b", "c"), ";", "a, b; and c")],
)  # fmt: skip
def test_series(parts: tuple[str, ...], mark: str, shown: str) -> None:
    assert words.series(parts, mark=mark) == shown


@pytest.mark.parametrize(
    ("text", "shown"), [("", ""), ("seen", "Seen."), ("seen.", "Seen."), ("is “it.”", "Is “it.”"), ("why?", "Why?")]
)
def test_sentence(text: str, shown: str) -> None:
    assert words.sentence(text) == shown


@pytest.mark.parametrize(
    ("text", "shown"), [("Spleen", "spleen"), ("PV size", "PV size"), ("Doppler flow", "Doppler flow"), ("A", "a")]
)
def test_lower_keeps_abbreviations_and_names(text: str, shown: str) -> None:
    assert words.lower(text) == shown


@given(st.text())
def test_clean_text_can_stand_in_xml_and_reorders_nothing(text: str) -> None:
    cleaned = words.clean(text)
    assert not any(ord(c) < 32 and c != "\n" for c in cleaned)
    assert not set(cleaned) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c\x7f\x85")
    assert words.clean(cleaned) == cleaned
