"""Turns values into words for people: dates, ages, digits, lists."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, tzinfo
from decimal import Decimal

from service.basics.texts import clean as clean  # as the report's other words are named here
from service.basics.texts import one_line as one_line
from service.exam.animal import Animal

MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
NAMES = ("Doppler",)
UNITS = {"1": "", "%": "%", "/min": "per minute", "{beats}/min": "beats per minute", "mm3": "mm³", "cm3": "cm³"}
PLANES = {"long": "long axis", "short": "short axis", "multi": "several planes"}
# Marks that reorder the text around them could make "20 mm" read as another value; XML 1.0 forbids most controls.


def digits(value: Decimal) -> str:
    """Every digit as sent: 0.40 stays 0.40; only a very long exponent keeps its E."""
    return format(value, "f") if -12 <= value.adjusted() <= 12 else str(value)


def amount(value: Decimal, unit: str) -> str:
    """A number and its unit for reading; a UCUM annotation in braces alone is not a unit to read."""
    shown = UNITS.get(unit, "" if unit.startswith("{") and unit.endswith("}") else unit)
    return one_line(f"{digits(value)} {shown}")


def sentence(text: str) -> str:
    """Text that starts with a capital and ends with a full stop, its own punctuation kept."""
    if not text:
        return ""
    head = text[0].upper() + text[1:]
    return head if head.rstrip("”\"')")[-1:] in {".", "!", "?"} else f"{head}."


def lower(text: str) -> str:
    """A title inside a sentence: first letter small, unless it starts an abbreviation or a name."""
    stays = text.startswith(NAMES) or (len(text) > 1 and not text[1].islower())
    return text if stays else text[:1].lower() + text[1:]


def planes(keys: Iterable[str]) -> str:
    """The planes of section as a phrase: "the long axis", "the long and short axes", "several planes"; "" for none."""
    named = list(dict.fromkeys(keys))
    axes = [PLANES[key].removesuffix(" axis") for key in named if PLANES.get(key, "").endswith(" axis")]
    others = [PLANES.get(key, key) for key in named if not PLANES.get(key, "").endswith(" axis")]
    told = [f"the {series(axes)} {'axis' if len(axes) == 1 else 'axes'}"] if axes else []
    return series([*told, *others])


def inside(reason: str) -> str:
    """A reason given in sentences, as a part of one of ours: first letter small where it starts a plain word."""
    plain = reason.split(" ", 1)[0] in {"The", "There", "No", "Whether", "How"}
    return (lower(reason) if plain else reason).rstrip(".")


def count(number: int, one: str, many: str = "") -> str:
    """A number with its noun in the right form: 1 still image, 2 still images."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def series(parts: Sequence[str], *, mark: str = ",") -> str:
    """Parts as one phrase: "a", "a and b", "a, b and c"; with mark ";" when parts hold commas of their own."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{f'{mark} '.join(parts[:-1])}{mark if mark == ';' else ''} and {parts[-1]}"


def day(moment: date) -> str:
    """A date that no country reads differently: 5 November 2026."""
    return f"{moment.day} {MONTHS[moment.month - 1]} {moment.year}"


def moment(text: str, *, zone: tzinfo) -> str:
    """A FHIR instant or dateTime for reading, with its offset; a date alone as a date; anything else as it came."""
    try:
        if "T" not in text:
            return day(date.fromisoformat(text))
        local = datetime.fromisoformat(text).astimezone(zone)
    except ValueError:
        return one_line(text) or "not stated"
    offset = local.strftime("%z")
    return f"{day(local.date())}, {local:%H:%M} (UTC{f'{offset[:3]}:{offset[3:5]}' if local.utcoffset() else ''})"


def age(born: date, at: date) -> str:
    """Completed months up to two years, then years and months; "" when the dates contradict each other."""
    months = (at.year - born.year) * 12 + at.month - born.month - (at.day < born.day)
    if months < 0:
        return ""
    if months < 24:
        return count(months, "month")
    years, rest = divmod(months, 12)
    return count(years, "year") + (f" {count(rest, 'month')}" if rest else "")


def sex(animal: Animal) -> str:
    """Sex and neutering as known; what is not known is said."""
    status = {True: "neutered", False: "not neutered", None: "neuter status not known"}[animal.neutered]
    return f"{animal.sex or 'sex not known'}, {status}"
