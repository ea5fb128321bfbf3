"""Turns a composed report into the data that the PDF's template sets: texts, lists and nothing else."""

import re
from itertools import groupby
from typing import Any

from service.exam.report_parts import Measurement, Report, Section, Statement

Json = dict[str, Any]
BREAK = "\u200b"  # where a word may break
IN_A_LINE, IN_A_COLUMN = 80, 24  # a word longer than this has no place to break at and would run off the paper
ROWS = ("identity", "question", "preparation", "signature")


def printed(report: Report) -> Json:
    """The report as report.typ reads it; the same report gives the same data."""
    data: Json = _broken(_data(report), IN_A_LINE)
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
    broken: Json = _broken(found, IN_A_COLUMN)
    return broken


def _broken(value: Any, most: int) -> Any:
    """The same with places to break at in every word that is longer than most."""
    if isinstance(value, str):
        return re.sub(rf"[^\s{BREAK}]{{{most},}}", _with_breaks, value) if len(value) >= most else value
    if isinstance(value, list):
        return [_broken(one, most) for one in value]
    if isinstance(value, dict):
        return {key: _broken(one, most) for key, one in value.items()}
    return value


def _with_breaks(word: re.Match[str]) -> str:
    return BREAK.join(word[0][i : i + 12] for i in range(0, len(word[0]), 12))


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
