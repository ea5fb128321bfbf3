"""Rows of mappings/ as the survey reads them: structures, protocol steps, vocabularies, measures, reasons, services."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from service.basics.coding import Coding


@dataclass(frozen=True, slots=True)
class Structure:
    """One anatomical structure. `vocabulary` names the group of its finding attributes ("liver", "gut", "kidney")."""

    key: str
    title: str
    vocabulary: str
    site: tuple[Coding, ...]  # codings of the body site, outside codes first, our own last
    laterality: Coding | None = None
    group: str = ""  # the organ by which an order can name it: "liver", "kidneys", "pancreas" ...


@dataclass(frozen=True, slots=True)
class StepRule:
    """One row of a protocol: one structure at one station, with what it asks for."""

    code: str
    station: int
    station_title: str
    sequence: int
    structure: str
    title: str
    requirement: str  # required, required-attempt, if-visible, if-present, if-relevant, only-if-asked, optional
    sex: str = ""  # "", male, female
    neutered: bool | None = None  # None: either
    special: str = ""  # "", retained-testis, pregnancy, uterus, stump, ovarian-bed: a condition that code decides
    planes: tuple[str, ...] = ()  # long, short, multi
    stills: int = 0
    clip: str = "no"  # no, optional, required, required-if-present
    measures: tuple[str, ...] = ()  # must be measured
    may_measure: tuple[str, ...] = ()
    windows: tuple[str, ...] = ()  # other windows or stations that can settle it
    operation: str = ""  # the operation that would explain its absence
    settles: tuple[str, ...] = ()  # steps that a second look here settles
    species: str = ""  # of the protocol that the row is of

    @property
    def owed_from_start(self) -> bool:
        """Whether the step is owed without anyone beginning it."""
        return self.requirement in {"required", "required-attempt"}


@dataclass(frozen=True, slots=True)
class Protocol:
    """The systematic survey of one species, its steps in scanning order."""

    key: str
    species: str
    steps: tuple[StepRule, ...]
    by_code: Mapping[str, StepRule] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_code", {rule.code: rule for rule in self.steps})


@dataclass(frozen=True, slots=True)
class Band:
    """The readings of a measurement that a word goes with; ends as published, in the unit of the measurement."""

    measure: str
    species: str  # dog, cat, both
    above: Decimal | None = None
    at_least: Decimal | None = None
    at_most: Decimal | None = None
    below: Decimal | None = None

    def holds(self, reading: Decimal) -> bool:
        """Whether a reading lies in the band."""
        low = (self.above is None or reading > self.above) and (self.at_least is None or reading >= self.at_least)
        return (
            low and (self.at_most is None or reading <= self.at_most) and (self.below is None or reading < self.below)
        )


@dataclass(frozen=True, slots=True)
class Prompt:
    """What to think of. when and unless: "attribute=value|value" or "disposition=..."; vocabulary "": of all."""

    key: str
    vocabulary: str
    when: str
    unless: str
    text: str


@dataclass(frozen=True, slots=True)
class Value:
    """One word of a vocabulary; grade 0 (expected) to 3 (marked), -1: neither ("not assessed").

    measures: what must be measured once it is noted, each a measure key or several parted by "|" of which one does;
    lesions: how many records of focal lesions it asks for at least; bands: the readings that it goes with."""

    code: str
    display: str
    default: bool
    grade: int
    measures: tuple[str, ...] = ()
    lesions: int = 0
    bands: tuple[Band, ...] = ()


@dataclass(frozen=True, slots=True)
class Attribute:
    """One question about a structure, asked always or only when another attribute has (not) a value.

    asked_when: "" or "attribute=value" or "attribute!=value" of the same structure."""

    key: str
    title: str
    values: tuple[Value, ...]
    compared_with: str = ""
    asked_when: str = ""

    @property
    def default(self) -> Value | None:
        """The one value that "as expected" stands for; None when only a person can say."""
        return next((v for v in self.values if v.default), None)


@dataclass(frozen=True, slots=True)
class MeasureRule:
    """One measurement of one structure. unit is UCUM; low and high bound what is plausible, inclusive, in `unit`."""

    structure: str
    key: str
    title: str
    codes: tuple[Coding, ...]
    unit: str
    decimals: int
    low: Decimal
    high: Decimal
    doppler: bool = False


@dataclass(frozen=True, slots=True)
class Reason:
    """Why something was not seen. price_effect (full, limited, none): what a rest left for it does to the price."""

    code: str
    display: str
    group: str
    needs_detail: bool
    counts_as_examined: bool
    price_effect: str
    remaining: bool  # may be given as `remaining` at finish
    suggestion: str = ""
    dispositions: tuple[str, ...] = ("not-seen", "seen-part")


@dataclass(frozen=True, slots=True)
class Operation:
    """An operation that takes structures away."""

    key: str
    display: str
    structures: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Service:
    """What can be ordered: which codes order it, which steps it asks for, which charge it leads to."""

    key: str
    title: str
    codes: tuple[Coding, ...]
    scope: str  # full, limited, recheck, fluid-check
    names_organs: bool  # the order must name organs
    structures: tuple[str, ...]  # fixed structures of a focused exam
    charge: str  # charge code of mappings/tariff.csv
    report_code: tuple[Coding, ...] = ()
