"""What billing must know of a finished exam, and nothing of medicine."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ExamFacts:
    """started: the frozen start as a FHIR dateTime, "" when nothing says it; price_effect: full, limited or none, with

    `reason` in the trade's words (never clinical). performer and owner are references ("Practitioner/<id>",
    "RelatedPerson/<id>"); owner is "" when there is none or more than one candidate."""

    started: str
    animal_name: str = ""
    doppler: bool = False
    sedation: bool = False
    price_effect: str = "full"
    reason: str = ""
    performer: str = ""
    performer_name: str = ""
    owner: str = ""
    owner_name: str = ""
