"""Turns two issues of a report into what changed between them, in words."""

from collections.abc import Mapping, Sequence
from difflib import SequenceMatcher

from service.exam.report_parts import Line, Measurement, Report, Statement
from service.exam.report_phrases import ALWAYS_NEW, label
from service.exam.report_words import lower


def lines(report: Report) -> tuple[Line, ...]:
    """Every statement of a report as it stands on paper."""
    return tuple(Line(s.title, each.label, full_text(each)) for s in report.sections for each in s.statements)


def full_text(statement: Statement) -> str:
    """A statement with its measurements, as one text; what the limit column says is told once."""
    said = f"{statement.lead} {statement.text}".strip()
    if not statement.measurements:
        return said
    limits = list(dict.fromkeys(m.limit for m in statement.measurements))
    alike = limits[0] if len(limits) == 1 and len(statement.measurements) > 1 and ":" not in limits[0] else ""
    told = [_measured(m, limit="" if alike else m.limit) for m in statement.measurements]
    remarks = "".join(f" {one}" for m in statement.measurements for one in m.remarks)
    return f"{said} Measured{f', {alike}' if alike else ''}: {'; '.join(told)}.{remarks}"


def _measured(one: Measurement, *, limit: str) -> str:
    """One measurement as it is read aloud: what, how much, where, how, and what it was compared with."""
    beside = "".join(f" ({part})" for part in (one.plane, one.method) if part)
    return f"{lower(one.title)} {one.value}{beside}" + (f", {limit}" if limit else "")


def changed(old: Report | Sequence[Line], new: Report | Sequence[Line], phrases: Mapping[str, str]) -> list[str]:
    """What a reader of the old issue must know of the new one: lines changed, added, removed, in its order.

    phrases are those that both were written with."""
    always = {label(phrases, key) for key in ALWAYS_NEW}
    before, after = ([one for one in _lines(r) if one.label not in always] for r in (old, new))
    told: list[str] = []
    for verb, i, j, k, m in SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
        if verb != "equal":
            told += _told(before[i:j], after[k:m])
    return told


def _lines(given: Report | Sequence[Line]) -> Sequence[Line]:
    return lines(given) if isinstance(given, Report) else given


def _told(gone: Sequence[Line], come: Sequence[Line]) -> list[str]:
    """Lines of one place: those with the same name changed, the rest were removed or added."""
    left, told = list(gone), []
    for line in come:
        twin = next((o for o in left if (o.section, o.label) == (line.section, line.label)), None)
        if twin is None:
            told.append(f"{_name(line)}: added “{line.text}”")
        else:
            left.remove(twin)
            told.append(f"{_name(line)}: was “{twin.text}”, now “{line.text}”")
    return told + [f"{_name(line)}: removed “{line.text}”" for line in left]


def _name(line: Line) -> str:
    return f"{line.section}, {line.label}" if line.label else line.section
