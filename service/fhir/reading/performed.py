"""A Procedure based on an order into sightings of what was done, one a site: a sample, a cystocentesis, a drainage."""

from collections.abc import Iterator
from typing import Any

from service.exam.evidence import Sighting
from service.fhir.reading.coded import codings

Json = dict[str, Any]


def performed(resource: Json, *, source: str) -> Iterator[Sighting]:
    """What a Procedure says was done, at each of its sites; one that is not completed answers that it was not (yet).

    text: the day, as of an operation on record."""
    when = str(resource.get("performedDateTime") or resource.get("performedPeriod", {}).get("start", ""))
    actors = [one.get("actor", {}) for one in resource.get("performer", [])]
    by = actors[0] if actors else {}
    for place in resource.get("bodySite") or [{}]:
        yield Sighting(
            source=source,
            kind="procedure",
            codes=codings(resource.get("code")),
            site=codings(place),
            at=when,
            by=str(by.get("reference") or by.get("display") or ""),
            text=when,
            retracted=resource.get("status") == "entered-in-error",
            answer=resource.get("status") == "completed",
        )
