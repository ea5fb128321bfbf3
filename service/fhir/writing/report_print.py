"""Turns a composed report into the data that the PDF's template sets: texts, lists and nothing else."""

from itertools import groupby
from typing import Any

from service.exam.report_parts import Measurement, Report, Section, Statement
from service.fhir.writing.breaking import IN_A_COLUMN, IN_A_LINE, broken

Json = dict[str, Any]
ROWS = ("identity", "question", "preparation", "signature")


def printed(report: Report) -> Json:
    """The report as report.typ reads it; the same report gives the same data."""
    data: Json = broken(_data(report), IN_A_LINE)
    return data


def _data(report: Report) -> Json:
    return {
        "language": report.language,
        "title": report.title,
        "practice": report.practice or "Practice not stated",
        "animal": report.animal_words,
        "name": report.animal.name or "animal not named",
        "status": report.status_words,
        "final": report.edition.status not in {"preliminary", "partial", "registered", "entered-in-error"},
        "version": report.edition.number,
        "issued": report.issued,
        "issuedWords": report.issued_words,
        "interpreter": report.interpreter,
        "exam": report.exam,
        "notices": list(report.notices),
        "conclusions": list(report.conclusions),
        "brief": list(report.brief),
        "sections": [_section(one) for one in report.sections],
        "cautions": [{"id": id_, "text": text} for id_, text in report.cautions],
    }


def _section(section: Section) -> Json:
    head = {"key": section.key, "title": section.title, "numbered": section.numbered}
    if section.key == "findings":
        groups = groupby(section.statements, key=lambda s: s.station)
        return head | {
            "form": "stations",
            "stations": [{"title": n, "steps": [_step(s) for s in g]} for n, g in groups],
        }
    form = "rows" if section.key in ROWS else "list"
    return head | {"form": form, "lines": [{"label": s.label, "text": s.text} for s in section.statements]}


def _step(statement: Statement) -> Json:
    found: Json = {
        "label": statement.label,
        "lead": statement.lead,
        "text": statement.text,
        "measurements": [_measurement(m) for m in statement.measurements],
    }
    made: Json = broken(found, IN_A_COLUMN)
    return made


def _measurement(one: Measurement) -> Json:
    return {
        "title": one.title,
        "value": one.value,
        "where": one.plane,
        "limit": one.limit,
        "beyond": one.flag in {"H", "L"},
        "method": one.method,
        "remarks": list(one.remarks),
    }
