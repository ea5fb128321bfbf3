"""The report as a value: sections of statements, before it becomes text, HTML or FHIR."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol

from service.exam.animal import Animal
from service.exam.formulas import Computation, Formula
from service.exam.limits import Disagreement, Limit, Limits
from service.exam.report_facts import Edition
from service.exam.rules import Attribute, MeasureRule, Reason, Service, Structure
from service.exam.rules import Protocol as Survey


class Caution(Protocol):
    """One caution row."""

    @property
    def id(self) -> str: ...
    @property
    def text(self) -> str: ...


class Rules(Protocol):
    """What compose() reads of the catalogue the exam was opened with; service.catalogue's Catalogue honours it."""

    @property
    def structures(self) -> Mapping[str, Structure]: ...
    @property
    def vocabularies(self) -> Mapping[str, tuple[Attribute, ...]]: ...
    @property
    def measures(self) -> Mapping[tuple[str, str, str], MeasureRule]: ...
    @property
    def clauses(self) -> Mapping[tuple[str, str, str], str]: ...
    @property
    def phrases(self) -> Mapping[str, str]: ...
    @property
    def plurals(self) -> frozenset[str]: ...
    @property
    def limits(self) -> Limits: ...
    @property
    def units(self) -> Mapping[tuple[str, str], Decimal]: ...
    @property
    def places(self) -> Mapping[str, str]: ...
    @property
    def formulas(self) -> Mapping[str, Formula]: ...
    @property
    def computations(self) -> Mapping[str, tuple[Computation, ...]]: ...
    @property
    def protocols(self) -> Mapping[str, Survey]: ...
    @property
    def disagreements(self) -> Sequence[Disagreement]: ...
    @property
    def judging(self) -> Mapping[str, int]: ...
    @property
    def reasons(self) -> Mapping[str, Reason]: ...
    @property
    def cautions(self) -> Sequence[Caution]: ...
    @property
    def sections(self) -> Sequence[tuple[str, str]]: ...


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measurement in words: value holds every digit as sent with its unit; limit says what it was compared with.

    flag: H, L, N or "" as judged, basis the limit that judged it; missed: a limit exists that does not hold here.
    method: how a computed value came about; plane: plane and place; remarks: sentences about the value."""

    title: str
    value: str
    limit: str
    plane: str = ""
    source: str = ""
    flag: str = ""
    soft: bool = False
    basis: Limit | None = None
    missed: bool = False
    method: str = ""
    key: str = ""
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Statement:
    """One statement, readable aloud. label names what it speaks of ("Left kidney", "Owner"); "" when text needs none.

    lead is what a reader of the findings must see first: what differs from expected, what was not seen.

    kind: plain, authored (a person's own words), expected, noted (differs from expected), part, unseen, absent."""

    text: str
    label: str = ""
    kind: str = "plain"
    station: str = ""  # heading of the station, findings only
    measurements: tuple[Measurement, ...] = ()
    lead: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """One section; numbered ones are lists whose order matters."""

    key: str
    title: str
    statements: tuple[Statement, ...]
    numbered: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """One statement as it stands on paper: section title, label and text, measurements included."""

    section: str
    label: str
    text: str


@dataclass(frozen=True, slots=True)
class Report:
    """One composed report. notices stand above everything (preliminary, amended, withdrawn); brief holds its limits."""

    title: str
    status_words: str
    notices: tuple[str, ...]
    brief: tuple[str, ...]
    sections: tuple[Section, ...]
    cautions: tuple[tuple[str, str], ...]  # (id, text)
    animal: Animal
    animal_words: str
    service: Service
    edition: Edition
    exam: str
    started: str
    issued: str
    issued_words: str
    practice: str
    interpreter: str
    conclusions: tuple[str, ...]
    language: str = "en"
