"""What a report is written from: everything known of one exam when it is signed, as frozen values."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, tzinfo

from service.basics.coding import Identifier
from service.exam.animal import Animal
from service.exam.circumstances import Circumstances
from service.exam.evidence import Evidence
from service.exam.rules import Service
from service.exam.survey import Step
from service.exam.trend import Change
from service.exam.urgent_record import UrgentRecord


@dataclass(frozen=True, slots=True)
class Preparation:
    """How the animal was prepared and examined; "" or None means that nobody stated it, never that it was so.

    sedation holds words ("butorphanol 0.2 mg/kg, no reaction") or "none"; fasting is fasted, not-fasted or words."""

    sedation: str = ""
    doppler: bool | None = None
    fasting: str = ""
    others: tuple[str, ...] = ()  # whole sentences of the examiner
    noted: Mapping[str, str] = field(default_factory=dict)  # what else was noted of the whole exam: key -> words


@dataclass(frozen=True, slots=True)
class Replaced:
    """The last preliminary report that a final one takes the place of: its id, when it was issued, and how many
    statements besides a person's own words read otherwise now."""

    id: str
    issued: str
    others: int = 0


@dataclass(frozen=True, slots=True)
class Edition:
    """Which issue of the report this is. status is DiagnosticReport.status; number counts what was issued, from 1.

    The rest is asked of amended, corrected and appended reports: why, by whom, what changed, who was told. Of a first
    final report, changes are told against the preliminary one. major: whether the author says that the change could
    alter the animal's care."""

    status: str = "final"
    number: int = 1
    reason: str = ""
    by: str = ""
    changes: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    replaced_issued: str = ""  # instant at which the replaced one was issued
    preliminary: Replaced | None = None
    major: bool | None = None

    @property
    def replaces(self) -> int | None:
        """The number of the issue that this one replaces."""
        return self.number - 1 if self.number > 1 else None


@dataclass(frozen=True, slots=True)
class ReportFacts:
    """One exam as its report tells it. Texts are as people gave them; instants are FHIR text; names are for reading.

    steps are all steps of the exam; evidence is what the entries' sources point to (findings, measurements, images)."""

    animal: Animal
    service: Service
    exam: str  # id of the exam's Task
    order: str  # id of the ServiceRequest
    started: str
    issued: str
    steps: tuple[Step, ...]
    evidence: tuple[Evidence, ...] = ()
    practice: str = ""
    owner: str = ""
    requester: str = ""
    numbers: tuple[Identifier, ...] = ()  # business identifiers of the order: placer, filler, accession
    question: str = ""
    history: tuple[str, ...] = ()
    preparation: Preparation = field(default_factory=Preparation)
    interpreter: str = ""
    performers: tuple[str, ...] = ()
    conclusions: tuple[str, ...] = ()  # most important first
    differentials: tuple[str, ...] = ()
    recommendations: tuple[str, ...] = ()
    comparison: tuple[str, ...] = ()
    trends: tuple[Change, ...] = ()  # measurements that an earlier exam has too
    procedures: tuple[str, ...] = ()
    urgent: tuple[str, ...] = ()
    urgent_records: tuple[UrgentRecord, ...] = ()
    remaining: str = ""  # key of the reason why the rest was left
    remaining_detail: str = ""
    out_of_scope: tuple[str, ...] = ()  # structures of this animal that a limited order did not ask for
    stills: int | None = None  # None: counted from the evidence
    clips: int | None = None
    studies: tuple[str, ...] = ()  # Study Instance UIDs
    unmapped: int = 0  # entries kept as sent that no row leads to a step
    edition: Edition = field(default_factory=Edition)
    circumstances: Circumstances | None = None  # what limits hang on; None: nothing is compared with a limit
    zone: tzinfo = UTC  # in which dates and times are read by people
    language: str = "en"
