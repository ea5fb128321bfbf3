"""A DiagnosticReport of ours, with its statements as they were issued, into the Composition of its document."""

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from itertools import groupby
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from service.exam.report_parts import Line
from service.fhir import uris
from service.fhir.uris import XHTML

Json = dict[str, Any]
# R4: Composition.status has fewer words than DiagnosticReport.status
STATUS = {
    **dict.fromkeys(("registered", "partial", "preliminary"), "preliminary"),
    "final": "final",
    **dict.fromkeys(("amended", "corrected", "appended"), "amended"),
    "entered-in-error": "entered-in-error",
}
ENTRIES = {
    "identity": ("subject",),
    "question": ("basedOn",),
    "findings": ("result",),
    "signature": ("resultsInterpreter",),
    "images": ("imagingStudy", "media"),
}
"""Section of the report -> elements of the DiagnosticReport whose references it holds."""


def composition(report: Json, lines: Iterable[Line], *, keys: Mapping[str, str], base: str) -> Json:
    """The Composition, without meta; the same report gives the same one. keys: title of a section -> its code.

    base: our own base URL; references are absolute, for a Composition that is not stored has no address here."""
    version = str(report.get("meta", {}).get("versionId", "1"))
    groups = [(title, list(many)) for title, many in groupby(lines, key=lambda line: line.section)]
    made = {
        "resourceType": "Composition",
        "id": document_id(report),
        "language": report.get("language", "en"),
        "text": report.get("text"),
        "identifier": {"system": uris.ID, "value": f"{report['id']}/{version}"},
        "status": STATUS.get(report["status"], "preliminary"),
        "type": {"coding": [{"system": uris.LOINC, "code": "18748-4", "display": "Diagnostic Imaging Report"}]},
        "category": report.get("category", []),
        "subject": _absolute(report["subject"], base),
        "date": report["issued"],
        "author": _authors(report, base),
        "title": _title(report),
        "attester": _attesters(report, base),
        "relatesTo": _replaced(report, version),
        "event": [{"period": {"start": report["effectiveDateTime"]}, "detail": [_to(report, base)]}],
        "section": [_section(t, many, report=report, keys=keys, base=base) for t, many in groups],
    }
    return {name: value for name, value in made.items() if value not in (None, [], "")}


def document_id(report: Json) -> str:
    """The id of the document of one version of a report, the same whenever it is made."""
    version = report.get("meta", {}).get("versionId", "1")
    return str(uuid5(NAMESPACE_URL, f"{uris.BASE}/DiagnosticReport/{report['id']}/_history/{version}"))


def _section(title: str, lines: Sequence[Line], *, report: Json, keys: Mapping[str, str], base: str) -> Json:
    key = keys.get(title, "")
    entries = [_absolute(one, base) for name in ENTRIES.get(key, ()) for one in _references(report.get(name))]
    coding = {"system": uris.REPORT_SECTION, "code": key, "display": title}
    made = {
        "title": title,
        "code": {"coding": [coding]} if key else None,
        "text": {"status": "generated", "div": _div(lines, report.get("language", "en"))},
        "entry": entries,
    }
    return {name: value for name, value in made.items() if value not in (None, [])}


def _div(lines: Sequence[Line], language: str) -> str:
    items = "".join(f"<li>{_said(line)}</li>" for line in lines)
    return f'<div xmlns="{XHTML}" lang="{escape(language)}" xml:lang="{escape(language)}"><ul>{items}</ul></div>'


def _said(line: Line) -> str:
    label = f"<b>{escape(line.label)}</b>: " if line.label else ""
    return label + escape(line.text).replace("\n", "<br/>")


def _references(value: Any) -> list[Json]:
    """The references of an element; an entry of media holds its own as link. Those with a name alone lead nowhere."""
    many = value if isinstance(value, list) else [value] if value else []
    found = [one.get("link", one) for one in many]
    return [one for one in found if one.get("reference")]


def _absolute(reference: Json, base: str) -> Json:
    target = str(reference.get("reference", ""))
    local = target and ":" not in target and not target.startswith("#")
    return {**reference, "reference": f"{base}/{target}"} if local else reference


def _authors(report: Json, base: str) -> list[Json]:
    """Who interpreted; where nobody is named, who performed. Never empty: R4 asks for an author."""
    given = report.get("resultsInterpreter") or report.get("performer") or [{"display": "not stated"}]
    return [_absolute(one, base) for one in given]


def _attesters(report: Json, base: str) -> list[Json]:
    """Who signed and when; a preliminary report is signed by nobody."""
    if STATUS.get(report["status"]) not in {"final", "amended"}:
        return []
    parties = report.get("resultsInterpreter", [])
    return [{"mode": "professional", "time": report["issued"], "party": _absolute(one, base)} for one in parties]


def _replaced(report: Json, version: str) -> list[Json]:
    """The version before, by the identifier that its document bears."""
    if not version.isdecimal() or int(version) < 2:
        return []
    before = {"system": uris.ID, "value": f"{report['id']}/{int(version) - 1}"}
    return [{"code": "replaces", "targetIdentifier": before}]


def _title(report: Json) -> str:
    forms = report.get("presentedForm", [])
    return str(forms[0].get("title", "")) if forms else "Report"


def _to(report: Json, base: str) -> Json:
    return {"reference": f"{base}/DiagnosticReport/{report['id']}"}
