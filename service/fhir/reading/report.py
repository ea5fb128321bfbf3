"""Turns a DiagnosticReport that this service wrote into what an amendment starts from."""

import re
from base64 import b64decode
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from service.exam.report_parts import Line
from service.fhir import uris

STATEMENT = re.compile(r"(?:-|\d+\.) (?:(?P<label>[^\t]*):\t)?(?P<text>.*)")
CONTINUED = "    "


@dataclass(frozen=True, slots=True)
class WrittenReport:
    """One issue of a report: its number and status, a person's own words by section, and every line as it was issued.

    interpreter and the others are the names or references in the resource; replaced_issued is of the issue before."""

    id: str
    status: str
    number: int
    issued: str
    effective: str
    interpreter: str
    by: str
    reason: str
    changes: tuple[str, ...]
    told: tuple[str, ...]
    replaced_issued: str
    conclusions: tuple[str, ...]
    differentials: tuple[str, ...]
    recommendations: tuple[str, ...]
    comparison: tuple[str, ...]
    procedures: tuple[str, ...]
    urgent: tuple[str, ...]
    lines: tuple[Line, ...]
    codes: tuple[dict[str, Any], ...] = ()


def read_report(resource: dict[str, Any]) -> WrittenReport:
    """The issue of a report that a DiagnosticReport of ours holds; what it lacks is empty, its number at least 1."""
    edition = _part(resource, uris.X_REPORT_EDITION)
    reason: dict[str, Any] = _part(resource, uris.STATUS_REASON).get("valueCodeableConcept", {})
    authored = list(_authored(resource))
    own = {key: tuple(text for k, text in authored if k == key) for key in {k for k, _ in authored}}
    return WrittenReport(
        id=resource.get("id", ""),
        status=resource.get("status", ""),
        number=next(iter(_values(edition, "number")), 1),
        issued=resource.get("issued", ""),
        effective=resource.get("effectiveDateTime", ""),
        interpreter=_name(resource.get("resultsInterpreter", [])),
        by=next(iter(_values(edition, "by")), ""),
        reason=reason.get("text", ""),
        changes=tuple(_values(edition, "change")),
        told=tuple(_values(edition, "told")),
        replaced_issued=next(iter(_values(edition, "replaced-issued")), ""),
        conclusions=own.get("conclusion", ()),
        differentials=own.get("differentials", ()),
        recommendations=own.get("recommendations", ()),
        comparison=own.get("comparison", ()),
        procedures=own.get("procedures", ()),
        urgent=own.get("urgent", ()),
        lines=tuple(read_lines(_plain_text(resource))),
        codes=tuple(resource.get("conclusionCode", [])),
    )


def is_ours(resource: dict[str, Any]) -> bool:
    """Whether this service issued a DiagnosticReport."""
    return bool(_part(resource, uris.X_REPORT_EDITION))


def read_lines(text: str) -> Iterator[Line]:
    """The statements of a plain-text report of ours, as report_text wrote them; cautions are not among them."""
    section, label, held = "", "", None
    for line, following in _pairs(text.split("\n")):
        if held is not None and line.startswith(CONTINUED):
            held += f"\n{line[len(CONTINUED) :]}"
            continue
        if held is not None:
            yield Line(section, label, held)
        begun = STATEMENT.fullmatch(line) if section else None
        label, held = (begun["label"] or "", begun["text"]) if begun else ("", None)
        if following[:1] in {"=", "~"} and set(following) == {following[0]}:
            section = line if following[0] == "=" else ""


def _pairs(lines: list[str]) -> Iterable[tuple[str, str]]:
    return zip(lines, [*lines[1:], ""], strict=True)


def _plain_text(resource: dict[str, Any]) -> str:
    forms = resource.get("presentedForm", [])
    found = [f.get("data", "") for f in forms if str(f.get("contentType", "")).startswith("text/plain")]
    return b64decode(found[0]).decode("utf-8") if found else ""


def _authored(resource: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for extension in resource.get("extension", []):
        if extension.get("url") == uris.X_REPORT_LINE:
            yield from zip(_values(extension, "section"), _values(extension, "text"), strict=True)


def _part(resource: dict[str, Any], url: str) -> dict[str, Any]:
    return next((e for e in resource.get("extension", []) if e.get("url") == url), {})


def _values(extension: dict[str, Any], url: str) -> list[Any]:
    """The value[x] of each inner extension of this name."""
    inner = [e for e in extension.get("extension", []) if e.get("url") == url]
    return [value for e in inner for name, value in e.items() if name.startswith("value")]


def _name(parties: list[dict[str, Any]]) -> str:
    first = parties[0] if parties else {}
    return str(first.get("display") or first.get("reference") or "")
