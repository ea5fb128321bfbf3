"""An animal into its earlier finished exams of this organisation, the latest first, with what they saw."""

from datetime import UTC, datetime
from typing import Any

from service.actions.gathering import all_of
from service.actions.ports import House, View
from service.basics.stored import Exam
from service.catalogue.catalogue import Catalogue
from service.exam import moments
from service.exam.evidence import Evidence
from service.exam.matching import match
from service.exam.trend import Earlier
from service.fhir import uris
from service.fhir.reading.evidence import sightings

Json = dict[str, Any]
LOOKED_AT = 3  # of so many exams: what was not measured in any of them is not compared


def earlier(house: House, view: View, exam: Exam, *, catalogue: Catalogue, species: str) -> tuple[Earlier, ...]:
    """The finished exams of the animal that began before this one, at most the three latest.

    Their Observations are understood by the catalogue of this one."""
    tasks = all_of(house, view, "Task", patient=f"Patient/{exam.animal}", code=f"{uris.TASK_FULFIL}|fulfill")
    others = [found for t in tasks if t["id"] != exam.id and (found := view.exam(t["id"])) is not None]
    began = exam.started or None
    past = [o for o in others if o.state == "finished" and (not began or moments.compare(o.started, began) == -1)]
    past.sort(key=_when, reverse=True)
    return tuple(_seen(house, view, one, catalogue=catalogue, species=species) for one in past[:LOOKED_AT])


def _when(exam: Exam) -> datetime:
    return moments.instant(exam.started) or datetime.min.replace(tzinfo=UTC)


def _seen(house: House, view: View, exam: Exam, *, catalogue: Catalogue, species: str) -> Earlier:
    observations = all_of(house, view, "Observation", based_on=f"ServiceRequest/{exam.order}")
    standing = [o for o in observations if o.get("status") != "entered-in-error"]
    matched = (m for o in standing for s in sightings(o) for m in match(s, catalogue, species))
    evidence = tuple(m for m in matched if isinstance(m, Evidence))
    return Earlier(f"Task/{exam.id}", f"DiagnosticReport/{exam.report}", exam.started, evidence)
