"""What the story counts on its way, and the one JSON object it can end with."""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from service.fhir import exact


@dataclass(slots=True)
class Figures:
    """exams and their survey steps; owed_before: things owed before anyone scanned; refused_finish: refusals to finish.

    reports_final: reports that were issued as final; charge_items: charges that stand on invoices; invoices: those
    issued, credits among them (with negative amounts); delivered: posts the record system has taken."""

    exams: int = 0
    steps: int = 0
    owed_before: int = 0
    refused_finish: int = 0
    reports_final: int = 0
    charge_items: int = 0
    invoices: list[dict[str, Any]] = field(default_factory=list)
    delivered: int = 0
    seconds: Decimal = Decimal(0)

    def text(self) -> str:
        """The object on one line; amounts with exactly their digits."""
        names = (
            "exams", "steps", "owed_before", "refused_finish", "reports_final", "charge_items", "invoices",
            "delivered", "seconds",
        )  # fmt: skip
        return exact.encode({name: getattr(self, name) for name in names}).decode()
