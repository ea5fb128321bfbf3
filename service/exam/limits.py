"""One published limit of one measurement: for whom it holds, where a value lies outside, and who found it."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

LimitKey = tuple[str, str, str]  # (species, structure, measure)


@dataclass(frozen=True, slots=True)
class Band:
    """A range of body weights in kg with its own ends; None: open. ideal: of the ideal weight, not the scale's."""

    low: Decimal | None = None
    high: Decimal | None = None
    low_included: bool = True
    high_included: bool = True
    ideal: bool = False
    words: str = ""  # as the source says it

    @property
    def bounded(self) -> bool:
        """Whether it asks for a weight at all."""
        return self.low is not None or self.high is not None

    def holds(self, weight: Decimal) -> bool:
        """Whether the weight lies in the band."""
        above = self.low is None or weight > self.low or (self.low_included and weight == self.low)
        below = self.high is None or weight < self.high or (self.high_included and weight == self.high)
        return above and below


@dataclass(frozen=True, slots=True)
class Source:
    """Who published it, and how well it was seen: SEEN-ABS, SEEN-HANDBOOK, SEEN-COMM, MEM (drives no flag) ..."""

    authors: str = ""
    year: str = ""
    journal: str = ""
    title: str = ""
    evidence: str = ""
    seen_at: str = ""

    @property
    def words(self) -> str:
        """The source as it is named in one line: first author and year, or what there is."""
        first = self.authors.split(",")[0].split(" and ")[0].strip().strip("()")
        known = self.authors and not self.authors.startswith("(")
        name = first.rsplit(" ", 1)[0] if known and " " in first else first
        parts = [name if known else self.journal or first, self.year]
        return " ".join(p for p in parts if p) or "source unknown"


@dataclass(frozen=True, slots=True)
class Limit:
    """One row of mappings/limits.csv. low and high are in `unit`, None where the source gives none.

    low_inside, high_inside: whether a value equal to the end lies inside. flags: the sides that drive a flag ("L",
    "H"), none for what is shown only. grey: beyond the limit up to here a flag is soft. says_normal: whether a value
    inside may be called N. in_force: by the default set or the table that the practice chose."""

    id: str
    structures: tuple[str, ...]
    measure: str
    species: tuple[str, ...]
    words: str  # what was measured, in the source's words
    unit: str
    low: Decimal | None = None
    high: Decimal | None = None
    low_inside: bool = True
    high_inside: bool = True
    band: Band = Band()
    flags: frozenset[str] = frozenset()
    soft: bool = False
    grey: Decimal | None = None
    says_normal: bool = True
    in_force: tuple[str, ...] = ()  # species
    table: str = ""
    places: tuple[str, ...] = ()  # where in the structure, of mappings/places.csv
    planes: tuple[str, ...] = ()
    sex: str = ""
    neutered: bool | None = None
    age_min_months: int | None = None
    fasted: bool | None = None  # what must be so; None: no matter
    sedated: bool | None = None
    recumbency: str = ""
    fill: bool = False  # the bladder's fill state must be recorded
    condition: str = ""  # other conditions, in words
    statistic: str = ""
    mean: Decimal | None = None
    median: Decimal | None = None
    sd: Decimal | None = None
    formula: str = ""
    use: str = ""
    source: Source = Source()
    note: str = ""


Limits = Mapping[LimitKey, tuple[Limit, ...]]
