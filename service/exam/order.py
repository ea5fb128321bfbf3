"""The order of one exam, as the survey and the report need to know it."""

from dataclasses import dataclass

from service.basics.coding import Coding, Identifier
from service.exam.animal import Animal
from service.exam.rules import Service


@dataclass(frozen=True, slots=True)
class Order:
    """structures are those named by a limited or repeated exam, empty for the full survey; references are "Type/id"."""

    id: str
    animal: Animal
    service: Service
    structures: tuple[str, ...] = ()
    placer: Identifier | None = None
    filler: Identifier | None = None
    accession: Identifier | None = None
    priority: str = "routine"
    requester: str = ""
    requester_name: str = ""
    reasons: tuple[str, ...] = ()
    question: str = ""
    placed: str = ""
    code: Coding | None = None
