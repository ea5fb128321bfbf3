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
        if not self.authors or self.authors.startswith("("):
            named = self.journal or self.authors.strip("()")
        else:
            first = self.authors.split("(")[0].split(",")[0].split(" and ")[0].strip().removesuffix(" et al.")
            named = first.rsplit(" ", 1)[0]
        return " ".join(p for p in (named, self.year) if p) or "source not named"


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


@dataclass(frozen=True, slots=True)
class Table:
    """One of several tables of which a practice chooses one. measure: what its limits ask to be measured."""

    key: str
    choice: str
    title: str
    species: str
    structures: tuple[str, ...]
    measure: str
    in_force: bool


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Where two sources say different things, what hangs on it, and what is done about it here."""

    topic: str
    species: tuple[str, ...]
    structures: tuple[str, ...]
    measures: tuple[str, ...]
    one: str
    other: str
    effect: str
    advice: str


Limits = Mapping[LimitKey, tuple[Limit, ...]]
