"""A search that the store can run: all criteria must hold, each made of keys that fhir/search worked out."""

from dataclasses import dataclass

from service.basics.stored import Stored


@dataclass(frozen=True, slots=True)
class Exact:
    """Holds when the resource bears any of the keys (negated: none of them)."""

    keys: tuple[int, ...]
    negated: bool = False


@dataclass(frozen=True, slots=True)
class Period:
    """Holds when a period mark of `key` fits. Bounds are microseconds, both inclusive, None is open:
    low_from <= mark.low <= low_to and high_from <= mark.high <= high_to."""

    key: int
    low_from: int | None = None
    low_to: int | None = None
    high_from: int | None = None
    high_to: int | None = None


@dataclass(frozen=True, slots=True)
class AnyPeriod:
    """Holds when any of the periods does (OR of several dates)."""

    periods: tuple[Period, ...]


@dataclass(frozen=True, slots=True)
class Starts:
    """Holds when a text mark of `key` starts with (exact: equals) any of the folded texts."""

    key: int
    texts: tuple[str, ...]
    exact: bool = False


@dataclass(frozen=True, slots=True)
class Ids:
    """Holds when the id is one of these."""

    ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Updated:
    """Holds when meta.lastUpdated lies between the instants (microseconds, inclusive, None is open)."""

    low: int | None = None
    high: int | None = None


Criterion = Exact | AnyPeriod | Starts | Ids | Updated


@dataclass(frozen=True, slots=True)
class Query:
    """One search of one type. `used` lists the parameters that were understood, for the self link."""

    type: str
    criteria: tuple[Criterion, ...]
    used: tuple[tuple[str, str], ...] = ()
    ignored: tuple[str, ...] = ()
    count: int = 50
    oldest_first: bool = False  # _sort=_lastUpdated; the default is newest first
    total: bool = True
    summary: str = ""  # "", "count"
    after: str = ""  # opaque position of the page


@dataclass(frozen=True, slots=True)
class Page:
    """One page of versions: the newest first unless asked otherwise; `after` is "" on the last page."""

    matches: tuple[Stored, ...]
    total: int | None
    after: str = ""


Span = tuple[int | None, int | None]
"""From and to in microseconds, both inclusive, None is open."""


@dataclass(frozen=True, slots=True)
class AuditQuery:
    """Which lines of the audit are wanted: all of spans and criteria must hold, each by any of its alternatives.

    criteria: alternatives are (name, value); the names are id, action, outcome, interaction, operation, and entity,
    whose value is Type/id, or an id of any type."""

    spans: tuple[tuple[Span, ...], ...] = ()
    criteria: tuple[tuple[tuple[str, str], ...], ...] = ()
