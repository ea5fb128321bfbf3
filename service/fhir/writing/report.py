"""Turns a composed report into its DiagnosticReport, with the text, HTML and narrative that say the same."""

import hashlib
from base64 import b64encode
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from service.exam.report_parts import Report
from service.fhir import uris
from service.fhir.writing.report_html import html
from service.fhir.writing.report_text import narrative, plain_text

AUTHORED = ("conclusion", "differentials", "recommendations", "comparison", "procedures", "urgent")
CHANGED = ("amended", "corrected", "appended", "entered-in-error")


@dataclass(frozen=True, slots=True)
class Party:
    """Someone a report names: a reference where there is one, else the name and the type of resource."""

    reference: str = ""
    display: str = ""
    type: str = ""


@dataclass(frozen=True, slots=True)
class Links:
    """What the DiagnosticReport refers to: relative references ("Observation/<id>") and business identifiers."""

    id: str
    order: str
    animal: str
    organization: Party
    interpreter: Party
    performers: tuple[Party, ...] = ()
    results: tuple[str, ...] = ()
    studies: tuple[str, ...] = ()
    media: tuple[str, ...] = ()
    codes: tuple[Mapping[str, Any], ...] = ()  # the conclusion in codes, as CodeableConcept
    identifiers: tuple[Mapping[str, Any], ...] = ()  # of the order: filler and accession numbers, as Identifier


def diagnostic_report(report: Report, *, links: Links, pdf: bytes | None = None) -> dict[str, Any]:
    """The DiagnosticReport of a composed report, without meta; every instance of one version has the same bytes.

    pdf: the report printed, where that was possible."""
    resource = {
        "resourceType": "DiagnosticReport",
        "id": links.id,
        "language": report.language,
        "text": {"status": "generated", "div": narrative(report)},
        "extension": [_edition(report), *_authored(report), *_status_reason(report)],
        "identifier": [{"system": uris.ID, "value": links.id}, *(dict(i) for i in links.identifiers)],
        "basedOn": [{"reference": links.order}],
        "status": report.edition.status,
        "category": [_concept(uris.SECTION, "RUS", display="Radiology Ultrasound")],
        "code": _code(report),
        "subject": _subject(report, links),
        "effectiveDateTime": report.started,
        "issued": report.issued,
        "performer": [_party(p) for p in (links.organization, *links.performers) if _party(p)],
        "resultsInterpreter": [_party(links.interpreter)] if _party(links.interpreter) else [],
        "result": _references(links.results),
        "imagingStudy": _references(links.studies),
        "media": [{"link": one} for one in _references(links.media)],
        "conclusion": conclusion(report),
        "conclusionCode": [dict(one) for one in links.codes],
        "presentedForm": presented_forms(report, pdf=pdf),
    }
    return {name: value for name, value in resource.items() if value not in ("", [])}


def conclusion(report: Report) -> str:
    """The conclusions, numbered when there are several, then the limits: for readers of this element alone."""
    given = report.conclusions
    numbered = [f"{n}. {text}" for n, text in enumerate(given, start=1)] if len(given) > 1 else list(given)
    return "\n".join((*numbered, *report.brief))


def presented_forms(report: Report, *, pdf: bytes | None = None) -> list[dict[str, Any]]:
    """The HTML page, the plain text and the PDF as attachments, with their size and SHA-1 (the hash R4 asks for)."""
    page, text = html(report).encode(), plain_text(report).encode()
    forms = [("text/html; charset=utf-8", page), ("text/plain; charset=utf-8", text)]
    return [_attachment(report, *one) for one in (*forms, *([("application/pdf", pdf)] if pdf else []))]


def _attachment(report: Report, kind: str, body: bytes) -> dict[str, Any]:
    return {
        "contentType": kind,
        "language": report.language,
        "data": b64encode(body).decode("ascii"),
        "size": len(body),
        "hash": b64encode(hashlib.sha1(body, usedforsecurity=False).digest()).decode("ascii"),
        "title": f"{report.title}, version {report.edition.number}",
        "creation": report.issued,
    }


def _edition(report: Report) -> dict[str, Any]:
    edition = report.edition
    inner: list[dict[str, Any]] = [{"url": "number", "valuePositiveInt": edition.number}]
    texts = (("by", (edition.by,)), ("change", edition.changes), ("told", edition.told))
    inner += [{"url": name, "valueString": text} for name, many in texts for text in many if text]
    if edition.preliminary:
        inner.append(
            {"url": "preliminary", "valueReference": {"reference": f"DiagnosticReport/{edition.preliminary.id}"}}
        )
    if edition.major is not None:
        inner.append({"url": "major", "valueBoolean": edition.major})
    if edition.replaced_issued:
        inner.append({"url": "replaced-issued", "valueInstant": edition.replaced_issued})
    return {"url": uris.X_REPORT_EDITION, "extension": inner}


def _authored(report: Report) -> list[dict[str, Any]]:
    """A person's own words by section, so that an amendment starts from exactly these."""
    lines = (
        (s.key, t.text) for s in report.sections if s.key in AUTHORED for t in s.statements if t.kind == "authored"
    )
    return [
        {
            "url": uris.X_REPORT_LINE,
            "extension": [{"url": "section", "valueCode": key}, {"url": "text", "valueString": text}],
        }
        for key, text in lines
    ]


def _status_reason(report: Report) -> list[dict[str, Any]]:
    if report.edition.status not in CHANGED or not report.edition.reason:
        return []
    kind = {"system": uris.AMENDMENT, "code": report.edition.status}
    concept = {"coding": [kind], "text": report.edition.reason}
    return [{"url": uris.STATUS_REASON, "valueCodeableConcept": concept}]


def _code(report: Report) -> dict[str, Any]:
    codings = [
        {"system": c.system, "code": c.code} | ({"display": c.display} if c.display else {})
        for c in report.service.report_code
    ]
    own = {"system": uris.SERVICE, "code": report.service.key, "display": report.service.title}
    return {"coding": [*codings, own], "text": report.service.title}


def _subject(report: Report, links: Links) -> dict[str, Any]:
    return {"reference": links.animal} | ({"display": report.animal.name} if report.animal.name else {})


def _concept(system: str, code: str, *, display: str) -> dict[str, Any]:
    return {"coding": [{"system": system, "code": code, "display": display}]}


def _references(many: Iterable[str]) -> list[dict[str, Any]]:
    return [{"reference": one} for one in many]


def _party(party: Party) -> dict[str, Any]:
    named = {"reference": party.reference, "type": party.type, "display": party.display}
    return {k: v for k, v in named.items() if v} if party.reference or party.display else {}
