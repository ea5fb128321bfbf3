"""The people, animals and places of the demo. All are invented."""

from collections.abc import Mapping
from dataclasses import dataclass, field

PRACTICE = "Pebblemoor Example Practice"
PRACTICE_SLUG = "pebblemoor-example-practice"
RECORDS = "Pebblemoor Example Records"
RECORDS_SLUG = "pebblemoor-example-records"
CLINIC = "Wicketfen Example Clinic"
CLINIC_SLUG = "wicketfen-example-clinic"
AGREEMENT = "wicketfen"
REFERRING_VET = "Dr. Ada Exampleby"
SONOGRAPHER = "Sam Probesworth, sonographer"
INTERPRETER = "Dr. Ines Samplewood"
DESTINATION = "records"

SYSTEM = "https://records.pebblemoor.example"
SCANNER = "https://scanner.pebblemoor.example"

BILLING: Mapping[str, object] = {
    "legalName": "Pebblemoor Example Practice Ltd (invented)",
    "address": "1 Example Lane, Pebblemoor",
    "taxNumber": "EX-000-0000 (invented)",
    "terms": "Payable within 14 days without deduction.",
    "bank": "Example Bank, account 000 000 (invented)",
    # open day and night, so that the demo costs the same at any hour
    "opening": {day: ["00:00", "24:00"] for day in ("mon", "tue", "wed", "thu", "fri", "sat", "sun")},
}


@dataclass(frozen=True, slots=True)
class Case:
    """An invented animal with its owner and its order. measures: value by "structure.measure", digits as sent."""

    key: str
    name: str
    species: tuple[str, str, str]  # system, code, words
    breed: str
    gender: str
    born: str
    weight: str
    owner: str
    order: str
    priority: str
    reason: str
    question: str
    measures: Mapping[str, str] = field(default_factory=dict)


DOG = Case(
    key="dog",
    name="Bramblewick",
    species=("http://snomed.info/sct", "448771007", "dog"),
    breed="Invented Moor Hound",
    gender="female",
    born="2017-04-11",
    weight="18.40",
    owner="Ottoline Fenwick-Invented",
    order="EX-ORDER-1001",
    priority="urgent",
    reason="Vomiting on and off for three weeks",
    question="Cause of the vomiting? Liver enzymes are raised.",
    measures={
        "gallbladder.wall-thickness": "1.20",
        "gallbladder.sludge-share": "30",
        "kidney_left.length": "58.40",
        "kidney_right.length": "57.90",
        "kidney_right.resistive-index": "0.63",
        "adrenal_left.dorsoventral-thickness": "5.60",
        "adrenal_right.dorsoventral-thickness": "5.30",
        "urinary_bladder.wall-thickness": "1.60",
        "stomach_fundus_body.wall-thickness": "3.40",
        "duodenum.wall-thickness": "4.10",
        "duodenal_papilla.duct-diameter": "2.10",
        "jejunum.wall-thickness": "3.10",
        "aorta.luminal-diameter": "8.70",
        "peritoneum.fluid-score": "0",
    },
)
CAT = Case(
    key="cat",
    name="Quillfeather",
    species=("http://snomed.info/sct", "448169003", "cat"),
    breed="Invented Shorthair",
    gender="male",
    born="2021-09-02",
    weight="4.75",
    owner="Barnaby Madeupson",
    order="EX-ORDER-1002",
    priority="routine",
    reason="Weight loss",
    question="Anything to see in the abdomen?",
    measures={"gallbladder.wall-thickness": "0.80"},
)

REFERRED = Case(
    key="referred",
    name="Thistledown",
    species=("http://snomed.info/sct", "448771007", "dog"),
    breed="Invented Fen Terrier",
    gender="male",
    born="2020-09-30",
    weight="9.10",
    owner="Barnaby Fictitious-Reed",
    order="EX-ORDER-1003",
    priority="routine",
    reason="Pale, and tired since yesterday",
    question="Is there free fluid in the abdomen?",
)
