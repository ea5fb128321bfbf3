"""What can be subscribed to by topic: each is one search, and elements whose change alone is an event."""

from collections.abc import Mapping
from dataclasses import dataclass

from service.fhir import uris


@dataclass(frozen=True, slots=True)
class Topic:
    """type and criteria: resources it is about; changed: elements of which one must be new or another, if any."""

    name: str
    title: str
    type: str
    criteria: tuple[tuple[str, str], ...] = ()
    changed: tuple[str, ...] = ()

    @property
    def url(self) -> str:
        """Its canonical."""
        return uris.TOPIC + self.name


_PROGRESS = ("status", "businessStatus")
_ALL = (
    Topic("order", "An order was placed or changed", "ServiceRequest"),
    Topic(
        "exam",
        "An exam came to another state",
        "Task",
        (("code", f"{uris.TASK_FULFIL}|fulfill"),),
        _PROGRESS,
    ),
    Topic(
        "report",
        "A report was issued, amended, corrected or withdrawn",
        "DiagnosticReport",
        (("status", "final,amended,corrected,appended,cancelled,entered-in-error"),),
    ),
    Topic(
        "urgent-finding",
        "An urgent finding was suggested, decided or escalated",
        "Task",
        (("code", f"{uris.TASK_CODE}|urgent-finding"),),
        _PROGRESS,
    ),
    Topic(
        "billing-exception",
        "An exception of billing was found or settled",
        "Task",
        (("code", f"{uris.TASK_CODE}|billing-exception"),),
        _PROGRESS,
    ),
    Topic("invoice", "An invoice or credit was issued or paid", "Invoice", (("status", "issued,balanced,cancelled"),)),
)
TOPICS: Mapping[str, Topic] = {one.url: one for one in _ALL}
"""Canonical -> topic."""
