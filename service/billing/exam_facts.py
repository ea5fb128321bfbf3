"""What billing must know of a finished exam, and nothing of medicine."""

from dataclasses import dataclass, field
from decimal import Decimal

from service.billing.authorisation import Insurance
from service.billing.follow_up import FullSurvey


@dataclass(frozen=True, slots=True)
class Shown:
    """What an exam shows that may be charged: a trigger of mappings/charges.csv, how often, and words for the note."""

    trigger: str
    times: int = 1
    note: str = ""


@dataclass(frozen=True, slots=True)
class ExamFacts:
    """started: the frozen start as a FHIR dateTime, "" when nothing says it; price_effect: full, limited or none, with

    `reason` in the trade's words (never clinical). performer, owner, requester, insurer are references; owner is ""
    when there is none or more than one candidate. documented: the charge of the service that the records bear out when
    it is not the one ordered. visit: id of the Encounter that the exam is part of. fulls: the animal's other full
    surveys at this practice, as far as a price can hang on them."""

    started: str
    animal_name: str = ""
    species: str = ""
    weight_kg: Decimal | None = None
    shown: tuple[Shown, ...] = ()
    price_effect: str = "full"
    reason: str = ""
    documented: str = ""
    performer: str = ""
    performer_name: str = ""
    grade: str = ""
    priority: str = "routine"
    visit: str = ""
    owner: str = ""
    owner_name: str = ""
    requester: str = ""  # the organisation that referred the animal
    requester_name: str = ""
    requesters: tuple[str, ...] = ()  # every name by which it is known
    fulls: tuple[FullSurvey, ...] = ()
    insurer: str = ""
    insurer_name: str = ""
    insurance: Insurance = field(default_factory=Insurance)
