"""A search that the store can run: all criteria must hold, each made of keys that fhir/search worked out."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from service.basics.stored import Keys, Stored


@dataclass(frozen=True, slots=True)
class Exact:
    """Holds when the resource bears any of the keys."""

    keys: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Period:
    """Holds when a mark of `key` fits. Bounds are inclusive, None is open:
    low_from <= mark.low <= low_to and high_from <= mark.high <= high_to."""

    key: int
    low_from: int | None = None
    low_to: int | None = None
    high_from: int | None = None
    high_to: int | None = None


@dataclass(frozen=True, slots=True)
class AnyPeriod:
    """Holds when any of the periods does."""

    periods: tuple[Period, ...]


@dataclass(frozen=True, slots=True)
class Starts:
    """Holds when a text mark of `key` starts with (exact: equals; within: contains) any of the folded texts."""

    key: int
    texts: tuple[str, ...]
    exact: bool = False
    within: bool = False


@dataclass(frozen=True, slots=True)
class Ids:
    """Holds when the id is one of these."""

    ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Updated:
    """Holds when meta.lastUpdated lies between the instants (microseconds, inclusive, None is open)."""

    low: int | None = None
    high: int | None = None


@dataclass(frozen=True, slots=True)
class Absent:
    """Holds when the resource has no value for any parameter of the mask (Keys.present)."""

    mask: int


@dataclass(frozen=True, slots=True)
class Not:
    """Holds when the criterion doesn't."""

    of: "Criterion"


@dataclass(frozen=True, slots=True)
class Either:
    """Holds when any of the criteria does."""

    of: tuple["Criterion", ...]


@dataclass(frozen=True, slots=True)
class Both:
    """Holds when all of the criteria do."""

    of: tuple["Criterion", ...]


@dataclass(frozen=True, slots=True)
class Forward:
    """Holds when the resource refers to one of `type` that fits: keys gives what a reference to an id is kept under."""

    type: str
    criteria: tuple["Criterion", ...]
    keys: Callable[[str], tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Backward:
    """Holds when one of `type` that fits refers to the resource: ids gives the ids that a body refers to."""

    type: str
    criteria: tuple["Criterion", ...]
    ids: Callable[[bytes], Iterable[str]]


@dataclass(frozen=True, slots=True)
class Reads:
    """Holds when the text of the resource does: for what no index tells."""

    fits: Callable[[bytes], bool]


Criterion = (
    Exact | Period | AnyPeriod | Starts | Ids | Updated | Absent | Not | Either | Both | Forward | Backward | Reads
)


@dataclass(frozen=True, slots=True)
class Sort:
    """One level of the order; a resource without a value comes last.

    by: "updated", "id", "low" (of the marks of `key`: dates and numbers), "text" (of its text marks), or "word":
    what `words` reads from the body. The earliest of several values counts, the latest when descending.
    own: `key` marks the date that is the low bound of every mark of the type."""

    by: str
    key: int = 0
    descending: bool = False
    own: bool = False
    words: Callable[[bytes], Iterable[str]] | None = None


NEWEST = (Sort("updated", descending=True),)
OLDEST = (Sort("updated"),)


@dataclass(frozen=True, slots=True)
class Include:
    """What shall come along: resources of `target` ("" any) that `type` refers to by `code`; reverse: those of `type`
    that refer to a match. iterate: also from what came along."""

    type: str
    code: str
    target: str = ""
    reverse: bool = False
    iterate: bool = False


@dataclass(frozen=True, slots=True)
class Query:
    """One search of one type. `used` lists the parameters that were understood, for the self link.

    index: the keys of a body, to judge versions that were replaced since the first page.
    also: the same search of other types, merged into one list."""

    type: str
    criteria: tuple[Criterion, ...]
    used: tuple[tuple[str, str], ...] = ()
    ignored: tuple[str, ...] = ()
    count: int = 50
    sort: tuple[Sort, ...] = NEWEST
    total: str = ""  # "" when it is cheap, "accurate" always, "none" never
    summary: str = ""  # "", "count", "true", "text", "data"
    elements: tuple[str, ...] = ()
    includes: tuple[Include, ...] = ()
    after: str = ""  # opaque position of the page
    index: Callable[[bytes], Keys] | None = None
    also: tuple["Query", ...] = ()


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
    whose value is Type/id, or an id of any type. touching: of each of these sets a line names one reference."""

    spans: tuple[tuple[Span, ...], ...] = ()
    criteria: tuple[tuple[tuple[str, str], ...], ...] = ()
    touching: tuple[frozenset[str], ...] = ()
