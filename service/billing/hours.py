"""The start of an exam and a practice's row into the day of its price and whether that was out of hours."""

import re
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from service.billing.practice import Practice

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_LEAP_SECOND = re.compile(r"(T\d{2}:\d{2}):60")


@dataclass(frozen=True, slots=True)
class Start:
    """When an exam began, in the practice's own zone. Either part is None when the text does not say it."""

    day: date | None
    at: datetime | None
    holiday: str = ""

    @property
    def words(self) -> str:
        """The start as a person of the practice would write it."""
        because = f", {self.holiday}" if self.holiday else ""
        if self.at is not None:
            return f"{self.at:%Y-%m-%d %H:%M} ({self.at.tzinfo}){because}"
        return f"{self.day.isoformat()}{because}" if self.day is not None else "unknown"


def start(practice: Practice, text: str) -> Start:
    """The start given as a FHIR dateTime, in the practice's zone; a text without a day gives neither part."""
    day, at = _read(practice, text)
    return Start(day, at, practice.holidays.get(day, "") if day else "")


def _read(practice: Practice, text: str) -> tuple[date | None, datetime | None]:
    try:
        if "T" not in text:
            return (date.fromisoformat(text) if _DAY.fullmatch(text) else None), None
        moment = datetime.fromisoformat(_LEAP_SECOND.sub(r"\1:59", text))
    except ValueError:
        return None, None
    if moment.tzinfo is None:
        return None, None
    local = moment.astimezone(ZoneInfo(practice.zone))
    return local.date(), local


def out_of_hours(practice: Practice, began: Start) -> bool | None:
    """Whether the exam began while the practice was closed; None when its time of day is not known.

    The minute of opening is inside, the minute of closing outside; a holiday is closed all day."""
    if began.day in practice.holidays:
        return True
    if began.at is None:
        return None
    opening = practice.opening[began.at.weekday()]
    minute = began.at.hour * 60 + began.at.minute
    return opening is None or not opening[0] <= minute < opening[1]
