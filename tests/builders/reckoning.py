"""What an invented month must come to, reckoned with fractions and by hand-written rules, without the service's code.

The zone's offset is the one published for Vienna in 2025: two hours until 2025-10-26T01:00Z, one hour from then on
(IANA time zone table, Europe/Vienna)."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from fractions import Fraction

CHANGE = datetime(2025, 10, 26, 1, tzinfo=UTC)
OPENING: Mapping[int, tuple[str, str]] = {**dict.fromkeys(range(5), ("08:00", "18:00")), 6: ("02:30", "12:00")}
RISE = "2025-10-16"
EXAMS = ("full", "limited", "recheck", "fluid-check")
ORDER = (*EXAMS, "doppler", "sedation", "sample", "cystocentesis", "drainage", "export", "out-of-hours")
# charge -> (minor units before the rise, and from it on; percent of tax; whether it includes tax; who pays)
LIST: Mapping[str, tuple[int, int, int, bool, str]] = {
    "full": (18500, 19900, 20, False, "client"),
    "limited": (9800, 9800, 20, False, "client"),
    "recheck": (8205, 8205, 20, False, "client"),
    "fluid-check": (4603, 4990, 20, False, "client"),
    "doppler": (3507, 3507, 20, False, "client"),
    "sample": (4501, 4501, 20, False, "client"),
    "cystocentesis": (2990, 2990, 10, True, "client"),
    "drainage": (5203, 5203, 10, False, "insurer"),
    "export": (1501, 1501, 20, False, "clinic"),
}
MOST_SAMPLES = 2
COIN = 5  # the smallest, in minor units
SHARE = Fraction(1, 2)  # out of hours, of everything that is not drawn for somebody else's account


@dataclass(frozen=True)
class Planned:
    """One exam: when it began (UTC), what was ordered and done besides, and after how many minutes it was finished."""

    at: str
    service: str = "fluid-check"
    done: tuple[tuple[str, int], ...] = ()
    finished_after: int = 20

    @property
    def began(self) -> datetime:
        return datetime.fromisoformat(self.at)


@dataclass(frozen=True)
class Reckoned:
    """One line: charge, how many, net in minor units, percent of tax, and its own tax where the price includes it."""

    code: str
    quantity: Fraction
    net: int
    percent: int
    tax: int | None = None


Bill = tuple[Reckoned, ...]


def local(instant: datetime) -> datetime:
    """The time on the practice's wall."""
    return instant.replace(tzinfo=None) + timedelta(hours=2 if instant < CHANGE else 1)


def rounded(exact: Fraction) -> int:
    """Half up, away from zero for what is below it."""
    return (1 if exact >= 0 else -1) * int(abs(exact) + Fraction(1, 2))


def bills(plan: Planned) -> dict[str, Bill]:
    """The lines of an exam by who pays them."""
    found: dict[str, list[Reckoned]] = {}
    wall = local(plan.began)
    new = f"{wall:%Y-%m-%d}" >= RISE
    for code, times in sorted([(plan.service, 1), *plan.done], key=lambda one: ORDER.index(one[0])):
        before, after, percent, includes, payer = LIST[code]
        quantity = min(times, MOST_SAMPLES) if code == "sample" else times
        amount = (after if new else before) * quantity
        net = rounded(Fraction(amount * 100, 100 + percent)) if includes else amount
        line = Reckoned(code, Fraction(quantity), net, percent, amount - net if includes else None)
        found.setdefault(payer, []).append(line)
    if closed(wall):
        base = sum(line.net for lines in found.values() for line in lines)
        found["client"].append(Reckoned("out-of-hours", SHARE, rounded(base * SHARE), 20))
    return {payer: tuple(lines) for payer, lines in found.items()}


def closed(wall: datetime) -> bool:
    """Whether the practice is closed at a time on its wall."""
    hours = OPENING.get(wall.weekday())
    return hours is None or not hours[0] <= f"{wall:%H:%M}" < hours[1]


def rates(bill: Sequence[Reckoned]) -> dict[int, tuple[int, int]]:
    """(net, tax) by percent: the tax of what bears none of its own, rounded once, and that of the lines that do."""
    found = {}
    for percent in sorted({line.percent for line in bill}):
        lines = [line for line in bill if line.percent == percent]
        rest = sum(line.net for line in lines if line.tax is None)
        own = sum(line.tax for line in lines if line.tax is not None)
        found[percent] = sum(line.net for line in lines), rounded(Fraction(rest * percent, 100)) + own
    return found


def coins(parts: Mapping[int, tuple[int, int]]) -> int:
    """What is added so that all of it can be paid in the smallest coin."""
    gross = sum(net + tax for net, tax in parts.values())
    return rounded(Fraction(gross, COIN)) * COIN - gross


def turned(parts: Mapping[int, tuple[int, int]]) -> dict[int, tuple[int, int]]:
    """The same taken back."""
    return {percent: (-net, -tax) for percent, (net, tax) in parts.items()}


def together(papers: Sequence[Mapping[int, tuple[int, int]]]) -> dict[int, tuple[int, int]]:
    """What several papers come to, by percent."""
    percents = sorted({percent for paper in papers for percent in paper})
    return {p: (_sum(papers, p, 0), _sum(papers, p, 1)) for p in percents}


def _sum(papers: Sequence[Mapping[int, tuple[int, int]]], percent: int, place: int) -> int:
    return sum(paper[percent][place] for paper in papers if percent in paper)


def text(minor: int) -> str:
    """Minor units as the amount is written."""
    return f"{'-' if minor < 0 else ''}{abs(minor) // 100}.{abs(minor) % 100:02d}"


def month(count: int) -> Iterator[Planned]:
    """So many exams of October 2025: workdays and weekends, nights around the change of the clocks, the month's end."""
    nights = NIGHTS[: max(2, count // 2)]
    yield from nights
    others = count - len(nights)
    for n in range(others):
        day, hour = 1 + n * 29 // others, 7 + n % 7
        yield Planned(f"2025-10-{day:02d}T{hour:02d}:{n % 6}5:00Z", _service(n), tuple(_done(n)))


def _service(n: int) -> str:
    return "full" if n % 12 == 5 else "limited" if n % 6 == 1 else "recheck" if n % 7 == 2 else "fluid-check"


def _done(n: int) -> Iterator[tuple[str, int]]:
    if n % 3 == 0:
        yield "doppler", 1
    if n % 4 == 1:
        yield "sample", 1 + n % 3
    if n % 5 == 2:
        yield "cystocentesis", 1 + n % 2
    if n % 4 == 3:
        yield "export", 1
    if n % 8 in (4, 6):
        yield "drainage", 1


NIGHTS = (
    Planned("2025-10-26T00:40:00Z", done=(("sample", 3), ("cystocentesis", 1))),  # 02:40 in summer's time: open
    Planned("2025-10-26T01:10:00Z", done=(("doppler", 1), ("drainage", 1))),  # 02:10, half an hour later: closed
    Planned("2025-10-15T22:30:00Z", done=(("export", 1),)),  # half past midnight of the day on which prices rose
    Planned("2025-10-31T22:30:00Z", finished_after=40),  # begun in October, invoiced in November
    Planned("2025-10-26T01:40:00Z"),  # 02:40 once more: open
    Planned("2025-10-24T16:30:00Z", done=(("sample", 2),)),  # 18:30: closed
    Planned("2025-10-27T16:30:00Z"),  # 17:30 in winter's time: open
    Planned("2025-10-24T06:30:00Z"),  # 08:30: open
    Planned("2025-10-27T06:30:00Z", done=(("cystocentesis", 2),)),  # 07:30: closed
    Planned("2025-10-15T21:59:00Z"),  # the last minute of the old price
    Planned("2025-10-31T22:35:00Z", "limited", (("doppler", 1),)),  # the last invoice of the month
)
