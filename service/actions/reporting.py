"""A case and what its signer says into the report's facts, and the facts into the DiagnosticReport."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any
from zoneinfo import ZoneInfo

from service.actions.case import Case, numbers
from service.actions.judge import known_of
from service.actions.ports import Press
from service.actions.preparing import preparation
from service.basics.coding import Identifier
from service.exam.entries import UNREAD, live
from service.exam.evidence import Evidence
from service.exam.moments import compare
from service.exam.protocol import steps_for
from service.exam.report import Edition, Preparation, Report, ReportFacts, compose
from service.exam.report_opening import sedated
from service.exam.trend import trend
from service.fhir import uris
from service.fhir.reading.names import name_of
from service.fhir.reading.task import entries
from service.fhir.writing.report import Links, Party, diagnostic_report
from service.fhir.writing.report_print import printed

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Signature:
    """What a person says when the report is signed or changed; texts as given, the most important conclusion first."""

    interpreter: Party
    conclusions: tuple[str, ...]
    differentials: tuple[str, ...] = ()
    recommendations: tuple[str, ...] = ()
    comparison: tuple[str, ...] = ()
    procedures: tuple[str, ...] = ()
    urgent: tuple[str, ...] = ()
    remaining: str = ""
    remaining_detail: str = ""
    codes: tuple[Json, ...] = ()  # the conclusion in codes, each a CodeableConcept
    major: bool | None = None  # whether what differs from the preliminary report can alter the animal's care


@dataclass(frozen=True, slots=True)
class Seen:
    """The evidence of a case as understood: what found its step, what did not, and what speaks of the whole exam."""

    evidence: tuple[Evidence, ...]
    unmapped: int
    preparation: Preparation
    weight: Evidence | None

    @property
    def doppler(self) -> bool:
        """Whether anything shows that Doppler was used."""
        return bool(self.preparation.doppler)

    @property
    def sedated(self) -> bool:
        """Whether sedation was recorded."""
        return sedated(self.preparation)


def seen(case: Case) -> Seen:
    """All evidence of the case, matched by the mappings in force for its catalogue."""
    matched = (one for r in (*case.observations, *case.images, *case.performed) for one in case.understood(r))
    evidence = tuple(e for e in matched if isinstance(e, Evidence))
    notes = _notes(evidence)
    return Seen(evidence, len(_unread(case)), preparation(case, evidence, notes), notes.get("note:weight"))


def _notes(evidence: Iterable[Evidence]) -> dict[str, Evidence]:
    """The latest note of each kind by its time of look, as what measurements are judged by."""
    found: dict[str, Evidence] = {}
    for one in evidence:
        for item in (i for i in one.items if i.startswith("note:")):
            if item not in found or compare(one.sighting.at, found[item].sighting.at) != -1:
                found[item] = one
    return found


def _unread(case: Case) -> set[str]:
    """The sources that nobody could read: listed on the exam's Task, or waiting at a step for a person."""
    whole = [e for e in entries(case.task) if e.item.startswith("unmapped:")]
    waiting = [e for step in case.steps for e in live(step) if e.item.startswith(UNREAD)]
    return {e.source for e in (*whole, *waiting)}


def facts(case: Case, known: Seen, signature: Signature, *, started: str, issued: str, edition: Edition) -> ReportFacts:
    """What the report of the case is written from; the steps are those of the case as it stands now."""
    animal = case.order.animal
    if known.weight is not None and known.weight.sighting.unit == "kg":
        animal = replace(animal, weight_kg=known.weight.sighting.quantity, weight_at=known.weight.sighting.at)
    return ReportFacts(
        animal=animal,
        service=case.order.service,
        exam=case.exam.id,
        order=case.order.id,
        started=started,
        issued=issued,
        steps=case.steps,
        evidence=known.evidence,
        practice=name_of(case.organization or {}),
        owner=", ".join(name for person in case.owners if (name := name_of(person))),
        requester=case.order.requester_name,
        numbers=numbers(case.order),
        question=case.order.question,
        history=case.order.reasons,
        preparation=known.preparation,
        interpreter=signature.interpreter.display or signature.interpreter.reference,
        performers=_performers(case, known),
        conclusions=signature.conclusions,
        differentials=signature.differentials,
        recommendations=signature.recommendations,
        comparison=signature.comparison,
        trends=trend(known.evidence, case.earlier, species=animal.species, rules=case.catalogue),
        procedures=signature.procedures,
        urgent=signature.urgent,
        urgent_records=case.urgent,
        remaining=signature.remaining or _left(case)[0],
        remaining_detail=signature.remaining_detail or _left(case)[1],
        out_of_scope=_out_of_scope(case),
        studies=tuple(_studies(case.images)),
        unmapped=known.unmapped,
        edition=edition,
        circumstances=known_of(case, at=started),
        zone=ZoneInfo(case.practice.zone),
        language=case.practice.language,
    )


def report_of(
    case: Case, said: ReportFacts, signature: Signature, id_: str, *, press: Press | None = None
) -> tuple[Report, Json]:
    """The composed report and its DiagnosticReport under this id; with a PDF where there is a press."""
    report = compose(said, case.catalogue)
    organization = case.organization or {}
    links = Links(
        id=id_,
        order=f"ServiceRequest/{case.exam.order}",
        animal=f"Patient/{case.exam.animal}",
        organization=Party(
            f"Organization/{organization['id']}" if organization else "", name_of(organization), "Organization"
        ),
        interpreter=signature.interpreter,
        results=tuple(f"Observation/{o['id']}" for o in case.observations),
        studies=tuple(f"ImagingStudy/{i['id']}" for i in case.images if i["resourceType"] == "ImagingStudy"),
        codes=signature.codes,
        media=tuple(f"Media/{i['id']}" for i in case.images if i["resourceType"] == "Media"),
        identifiers=tuple(_identifier(n, kind) for kind, n in _filed(case)),
    )
    return report, diagnostic_report(report, links=links, pdf=press(printed(report)) if press else None)


def unprinted(press: Press | None, report: Json) -> list[tuple[str, str]]:
    """What whoever issues a report is told when it could not be printed: a word of the operation's answer, by name."""
    printed_ = any(form["contentType"] == "application/pdf" for form in report["presentedForm"])
    return [] if press is None or printed_ else [("unprinted", "The report was issued without a PDF.")]


def _performers(case: Case, known: Seen) -> tuple[str, ...]:
    """Who scanned, by name: those who sent evidence, not those who stated something about it."""
    acts = {e.source for step in case.steps for e in step.entries if e.act}
    by = {e.sighting.by for e in known.evidence if e.sighting.by and e.sighting.source not in acts}
    return tuple(sorted({case.names.get(one, one) for one in by}))


def _left(case: Case) -> tuple[str, str]:
    """Why the rest was left when the exam was finished, as its Task keeps it: (reason, detail)."""
    kept = case.task.get("statusReason", {})
    codes = [c.get("code", "") for c in kept.get("coding", []) if c.get("system") == uris.REASON]
    return (codes[0], str(kept.get("text", ""))) if codes else ("", "")


def _filed(case: Case) -> Iterable[tuple[str, Identifier]]:
    return [(k, n) for k, n in (("FILL", case.order.filler), ("ACSN", case.order.accession)) if n is not None]


def _identifier(number: Identifier, kind: str) -> Json:
    type_ = {"coding": [{"system": uris.IDENTIFIER_TYPE, "code": kind}]}
    return {"type": type_, "system": number.system, "value": number.value}


def _out_of_scope(case: Case) -> tuple[str, ...]:
    """Structures of this animal that a full survey would look at and this order did not ask for."""
    animal, catalogue = case.order.animal, case.catalogue
    if case.order.service.scope == "full":
        return ()
    full = next(s for s in catalogue.services.values() if s.scope == "full")
    whole = steps_for(catalogue.protocols[animal.species], animal, full, ())
    had = {s.rule.structure for s in case.steps}
    return tuple(dict.fromkeys(r.structure for r in whole if r.structure and r.structure not in had))


def _studies(images: Iterable[Json]) -> list[str]:
    found = [i for r in images if r["resourceType"] == "ImagingStudy" for i in r.get("identifier", [])]
    return [i["value"].removeprefix("urn:oid:") for i in found if i.get("system") == uris.DICOM_UID]
