"""A Procedure or Condition of an animal into the sighting of an operation that took a structure."""

from typing import Any

from service.exam.evidence import Sighting
from service.fhir.reading.coded import codings

Json = dict[str, Any]
OPERATIONS = frozenset({"Procedure", "Condition"})  # what can say that a structure was taken away


def operation(resource: Json, *, source: str) -> Sighting:
    """An operation on an animal's record; a Procedure that was not done, or a Condition that was refuted, is none."""
    status = str(resource.get("status", ""))
    codes = {c.code for c in codings(resource.get("verificationStatus"))}
    gone = codes & {"entered-in-error", "refuted"} or (
        resource["resourceType"] == "Procedure" and status != "completed"
    )
    sites = resource.get("bodySite", [])
    when = resource.get("performedDateTime") or resource.get("performedPeriod", {}).get("start")
    when = when or resource.get("onsetDateTime") or resource.get("performedString") or resource.get("recordedDate")
    return Sighting(
        source=source,
        kind="operation",
        codes=() if gone else codings(resource.get("code")),
        site=tuple(c for one in sites for c in codings(one)),
        text=str(when or ""),
        retracted=bool(gone),
    )
