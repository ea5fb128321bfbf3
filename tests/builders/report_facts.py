"""An invented dog's examination as a report is written from it, and the few catalogue rows that it needs."""

from csv import DictReader
from dataclasses import dataclass, field, replace
from datetime import UTC, date
from decimal import Decimal
from io import StringIO

from service.basics.coding import Coding, Identifier
from service.catalogue.files import read_folder
from service.exam.animal import Animal
from service.exam.evidence import Evidence, Sighting
from service.exam.formulas import Computation, Formula
from service.exam.limits import Disagreement, Limit, LimitKey
from service.exam.report import Preparation, ReportFacts
from service.exam.rules import Attribute, MeasureRule, Protocol, Reason, Service, StepRule, Structure, Value
from service.exam.survey import Entry, Step

LOINC = "http://loinc.org"
AT = "2026-11-25T13:04:29.123Z"
LATER = "2026-11-25T13:20:00.000Z"
BY = "R. Invented"


@dataclass(frozen=True)
class CautionRow:
    id: str
    text: str


def value(code: str, display: str, *, default: bool = False, grade: int = 0) -> Value:
    return Value(code, display, default, grade)


SIZE = Attribute(
    "size",
    "Size",
    (value("normal", "Normal size", default=True), value("large-mild", "Mildly enlarged", grade=1)),
)
ECHOTEXTURE = Attribute(
    "echotexture",
    "Echotexture",
    (value("homogeneous", "Homogeneous", default=True), value("coarse", "Coarse", grade=1)),
)
FLOW = Attribute("flow", "Doppler flow", (value("hilar", "Hilar", default=True), value("not-assessed", "Not assessed")))
STENT = Attribute(
    "content", "Content", (value("anechoic", "Anechoic", default=True), value("stent", "Stent in place", grade=-1))
)


def shipped(file: str) -> list[dict[str, str]]:
    """The rows of a file of mappings/ as they stand."""
    return list(DictReader(StringIO(read_folder()[file])))


PHRASES = {row["phrase"]: row["text"] for row in shipped("report-phrases.csv")}
CLAUSES = {
    (name, row["attribute"], row["value"]): row["clause"]
    for row in shipped("report-clauses.csv")
    for name in row["vocabularies"].split() or ["*"]
}


@dataclass(frozen=True)
class Rows:
    """The twin of a catalogue: only what a report reads."""

    structures: dict[str, Structure]
    vocabularies: dict[str, tuple[Attribute, ...]]
    measures: dict[tuple[str, str, str], MeasureRule]
    reasons: dict[str, Reason]
    cautions: tuple[CautionRow, ...]
    sections: tuple[tuple[str, str], ...]
    clauses: dict[tuple[str, str, str], str] = field(default_factory=lambda: CLAUSES)
    phrases: dict[str, str] = field(default_factory=lambda: PHRASES)
    plurals: frozenset[str] = frozenset({"node"})
    limits: dict[LimitKey, tuple[Limit, ...]] = field(default_factory=dict)
    units: dict[tuple[str, str], Decimal] = field(default_factory=dict)
    places: dict[str, str] = field(default_factory=dict)
    formulas: dict[str, Formula] = field(default_factory=dict)
    computations: dict[str, tuple[Computation, ...]] = field(default_factory=dict)
    protocols: dict[str, Protocol] = field(default_factory=dict)
    disagreements: tuple[Disagreement, ...] = ()
    judging: dict[str, int] = field(default_factory=dict)


def reason(code: str, display: str, *, examined: bool) -> Reason:
    return Reason(code, display, "technical", False, examined, "full", True)


ROWS = Rows(
    structures={
        k: Structure(k, k.replace("_", " ").capitalize(), "organ", ()) for k in ("liver_left", "spleen", "node")
    },
    vocabularies={"organ": (SIZE, ECHOTEXTURE, FLOW, STENT)},
    measures={
        ("dog", "spleen", "thickness"): MeasureRule(
            "spleen", "thickness", "Thickness", (), "mm", 1, Decimal(1), Decimal(100)
        )
    },
    reasons={
        "gas": reason("gas", "Overlying gas", examined=True),
        "time-limited": reason("time-limited", "Stopped for patient safety or emergency", examined=False),
        "kept-on-scanner": reason("kept-on-scanner", "Image or clip kept on the scanner only", examined=True),
    },
    cautions=tuple(CautionRow(f"C{n:02}", f"Caution {n}.") for n in range(1, 25)),
    sections=(
        ("identity", "Identity"),
        ("question", "Clinical question and history"),
        ("preparation", "Examination and preparation"),
        ("limits", "Quality and limits"),
        ("findings", "Findings by station"),
        ("comparison", "Comparison"),
        ("conclusion", "Conclusion"),
        ("differentials", "Differential diagnoses"),
        ("recommendations", "Recommendations"),
        ("procedures", "Procedures done"),
        ("urgent", "Urgent communication"),
        ("signature", "Signature"),
        ("images", "Image list"),
    ),
)


def rule(code: str, title: str, *, station: int = 1, requirement: str = "required", structure: str = "") -> StepRule:
    return StepRule(code, station, f"Station {station}", station, structure or code, title, requirement)


def entry(item: str, *, source: str = "", at: str = AT, **more: str) -> Entry:
    return Entry(item, source, at, BY, **more)


def step(code: str, title: str, *entries: Entry, station: int = 1, requirement: str = "required") -> Step:
    return Step(f"task-{code}", rule(code, title, station=station, requirement=requirement), entries)


def measured(source: str, amount: str, *, unit: str = "mm", structure: str = "spleen", **more: bool) -> Evidence:
    sighting = Sighting(source, "observation", quantity=Decimal(amount), unit=unit, **more)
    return Evidence(sighting, structure, ("measure:thickness", "plane:short"))


ANIMAL = Animal(
    "animal-1",
    "dog",
    sex="male",
    neutered=True,
    name="Quibble",
    identifiers=(Identifier("urn:example:record", "R-1007"),),
    breed="mixed breed",
    born=date(2020, 3, 26),
    weight_kg=Decimal("12.40"),
    weight_at="2026-11-20",
)
SERVICE = Service(
    "full",
    "Abdominal ultrasound, full survey",
    (),
    "full",
    False,
    (),
    "full",
    (Coding(LOINC, "24558-9", "Abdomen US"),),
)
SPLEEN = step(
    "spleen",
    "Spleen: head, body, tail",
    entry("plane:long"),
    entry("plane:short"),
    entry("finding:size", source="Observation/s1", value="large-mild"),
    entry("finding:echotexture", source="Observation/s2", value="organ.echotexture.homogeneous"),
    entry("measure:thickness", source="Observation/s3"),
    station=3,
)
LIVER = step(
    "liver_left",
    "Liver, left division",
    entry("disposition:seen"),
    entry("finding:size", source="Observation/l1", value="normal", act="a1"),
    entry("finding:echotexture", source="Observation/l2", value="homogeneous", act="a1"),
)
NODE = step("node", "Splenic lymph nodes", station=3, requirement="optional")
FACTS = ReportFacts(
    animal=ANIMAL,
    service=SERVICE,
    exam="exam-1",
    order="order-1",
    started=AT,
    issued=LATER,
    steps=(LIVER, SPLEEN, NODE),
    evidence=(measured("Observation/s3", "21.40"),),
    practice="Invented Referral Practice",
    owner="A. Owner",
    requester="B. Referrer",
    numbers=(Identifier("urn:example:order", "O-55"),),
    question="Is the spleen enlarged?",
    preparation=Preparation(sedation="none", doppler=False, fasting="fasted"),
    interpreter="Dr I. Reader",
    performers=("S. Scanner",),
    conclusions=("Mildly enlarged spleen.", "No other abnormality seen."),
    zone=UTC,
)


def with_steps(*steps: Step, evidence: tuple[Evidence, ...] = ()) -> ReportFacts:
    return replace(FACTS, steps=steps, evidence=evidence)
