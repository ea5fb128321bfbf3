"""Turns the text of one cell into a checked value."""

import re
from datetime import date
from decimal import Decimal
from typing import Annotated

from pydantic import BeforeValidator, StringConstraints

_NUMBER = re.compile(r"-?(0|[1-9]\d*)(\.\d+)?")
_COUNT = re.compile(r"0|[1-9]\d*")
_HOURS = re.compile(r"([01]\d|2[0-4]):([0-5]\d)-([01]\d|2[0-4]):([0-5]\d)")


def _yes_no(cell: str) -> bool:
    if cell not in {"yes", "no"}:
        raise ValueError("must be yes or no")
    return cell == "yes"


def _yes_no_or_either(cell: str) -> bool | None:
    return _yes_no(cell) if cell else None


def _number(cell: str) -> Decimal:
    if not _NUMBER.fullmatch(cell):
        raise ValueError("must be a plain decimal number")
    return Decimal(cell)


def _number_or_none(cell: str) -> Decimal | None:
    return _number(cell) if cell else None


def _count(cell: str) -> int:
    if not _COUNT.fullmatch(cell):
        raise ValueError("must be a whole number")
    return int(cell)


def _grade(cell: str) -> int:
    if cell not in {"", "0", "1", "2", "3"}:
        raise ValueError("must be 0, 1, 2, 3 or empty")
    return int(cell) if cell else -1


def _day(cell: str) -> date:
    try:
        return date.fromisoformat(cell)
    except ValueError:
        raise ValueError("must be a day such as 2026-01-31") from None


def _day_or_open(cell: str) -> date | None:
    return _day(cell) if cell else None


def _hours(cell: str) -> tuple[int, int] | None:
    if cell == "closed":
        return None
    found = _HOURS.fullmatch(cell)
    if not found:
        raise ValueError("must be closed or hours such as 08:00-18:00")
    a, b, c, d = map(int, found.groups())
    opens, closes = a * 60 + b, c * 60 + d
    if not opens < closes <= 24 * 60:
        raise ValueError("must close after it opens, within the day")
    return opens, closes


def _words(cell: str) -> tuple[str, ...]:
    return tuple(cell.split())


def _phrases(cell: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in cell.split(";") if part.strip())


Name = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9_-]*$")]
NameOrNone = Annotated[str, StringConstraints(pattern=r"^([a-z0-9][a-z0-9_-]*)?$")]
Text = Annotated[str, StringConstraints(min_length=1)]
YesNo = Annotated[bool, BeforeValidator(_yes_no)]
YesNoOrEither = Annotated[bool | None, BeforeValidator(_yes_no_or_either)]
Number = Annotated[Decimal, BeforeValidator(_number)]
NumberOrNone = Annotated[Decimal | None, BeforeValidator(_number_or_none)]
Count = Annotated[int, BeforeValidator(_count)]
CountOrNone = Annotated[int, BeforeValidator(lambda cell: _count(cell or "0"))]  # empty: 0
Grade = Annotated[int, BeforeValidator(_grade)]  # -1: neither expected nor abnormal
Day = Annotated[date, BeforeValidator(_day)]
DayOrOpen = Annotated[date | None, BeforeValidator(_day_or_open)]
Hours = Annotated[tuple[int, int] | None, BeforeValidator(_hours)]  # minutes of the day
Words = Annotated[tuple[str, ...], BeforeValidator(_words)]  # parted by spaces
Phrases = Annotated[tuple[str, ...], BeforeValidator(_phrases)]  # parted by semicolons
