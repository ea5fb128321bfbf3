"""The parameters of a search of the audit -> which of its lines are wanted."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from service.basics.errors import Fault, Invalid
from service.basics.query import AuditQuery, Period, Span
from service.basics.stored import LOGIN
from service.fhir import uris
from service.fhir.search import dates
from service.fhir.search.asked import ID, TYPED, BadValue
from service.fhir.search.references import plain
from service.fhir.search.values import alternatives, bar, unescaped

LARGEST_PAGE = 500
_LOGIN = "110122"  # DICOM's code for it
_MOST = 100  # alternatives of one parameter
_PRESENTATION = frozenset({"_format", "_pretty"})

Alternative = tuple[str, str]


@dataclass(slots=True)
class AuditSearch:
    """What was asked: the lines, how many on a page, and which parameters were understood and which were not.

    animals: ids of Patient, in whose records a line is to have touched something; `wanted` knows of the
    animals alone, whoever asks of what else is in their records."""

    base: str = ""
    spans: list[tuple[Span, ...]] = field(default_factory=list)
    criteria: list[tuple[Alternative, ...]] = field(default_factory=list)
    animals: list[tuple[str, ...]] = field(default_factory=list)
    count: int = 50
    used: list[tuple[str, str]] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)

    @property
    def wanted(self) -> AuditQuery:
        """The lines."""
        touching = tuple(frozenset(f"Patient/{id_}" for id_ in ids) for ids in self.animals)
        return AuditQuery(tuple(self.spans), tuple(self.criteria), touching)


def parse(params: Sequence[tuple[str, str]], *, strict: bool = False, base: str = "") -> AuditSearch:
    """The search of (name, value) pairs, AND by repetition and OR by comma; base is our own base URL.

    Raises Invalid with every fault: a value that cannot be understood, a modifier (none is offered), counting or
    another order than the newest first, and, when strict, a parameter that is not known."""
    found, faults = AuditSearch(base.rstrip("/")), []
    for name, value in params:
        if value == "" or name in _PRESENTATION:
            continue
        try:
            _read(found, name, value)
        except BadValue as error:
            faults.append(Fault("not-supported" if "not offered" in str(error) else "value", str(error)))
    if strict:
        faults += [Fault("not-supported", f"the search parameter {one} is not known here") for one in found.ignored]
    if faults:
        raise Invalid(*faults)
    return found


def _read(found: AuditSearch, name: str, value: str) -> None:
    code, _, modifier = name.partition(":")
    if code not in _READERS and code not in _CONTROLS:
        found.ignored.append(name)
        return
    if modifier:
        raise BadValue(f"the modifier :{modifier} is not offered on {code}")
    if code in _CONTROLS:
        _CONTROLS[code](found, value)
    else:
        values = alternatives(value)
        if not 0 < len(values) <= _MOST:
            raise BadValue(f"{code} needs a value, and takes at most {_MOST}")
        _READERS[code](found, values)
    found.used.append((name, value))


def _date(found: AuditSearch, values: Sequence[str]) -> None:
    spans: list[Span] = []
    for value in values:
        prefix, stretch = dates.split(unescaped(value))
        if stretch is None:
            raise BadValue("a date is needed, such as 2026-11-25, ge2026-11 or lt2026-11-25T13:04:29Z")
        spans += [_span(period) for period in dates.periods(0, prefix, stretch)]
    found.spans.append(tuple(spans))


def _span(period: Period) -> Span:
    """Where a single moment lies that fits the period."""
    lows = [n for n in (period.low_from, period.high_from) if n is not None]
    highs = [n for n in (period.low_to, period.high_to) if n is not None]
    return max(lows, default=None), min(highs, default=None)


def _ids(found: AuditSearch, values: Sequence[str]) -> None:
    found.criteria.append(tuple(("id", unescaped(value)) for value in values))


def _token(column: str, system: str) -> Callable[[AuditSearch, Sequence[str]], None]:
    """A plain code whose system is known without being said."""

    def read(found: AuditSearch, values: Sequence[str]) -> None:
        parts = [_parts(value) for value in values]
        found.criteria.append(tuple((column, code) for given, code in parts if given in (None, "", system)))

    return read


def _subtype(found: AuditSearch, values: Sequence[str]) -> None:
    columns = {uris.RESTFUL: "interaction", uris.OPERATION: "operation"}
    parts = [_parts(value) for value in values]
    parts = [
        (uris.RESTFUL, LOGIN) if code == _LOGIN and given in (None, uris.DCM) else (given, code)
        for given, code in parts
    ]
    asked = [
        (column, code)
        for given, code in parts
        for system, column in columns.items()
        if given is None or given == system
    ]
    found.criteria.append(tuple(asked))


def _parts(value: str) -> tuple[str | None, str]:
    system, code = bar(value)
    if not code:
        raise BadValue("a code is needed: code or system|code")
    return system, code


def _entity(found: AuditSearch, values: Sequence[str]) -> None:
    links = [plain(unescaped(value).removeprefix(f"{found.base}/")) for value in values]
    if any(not TYPED.fullmatch(link) and not ID.fullmatch(link) for link in links):
        raise BadValue("entity needs Type/id, or an id of any type")
    found.criteria.append(tuple(("entity", link) for link in links))


def _patient(found: AuditSearch, values: Sequence[str]) -> None:
    ids = [plain(unescaped(value).removeprefix(f"{found.base}/")).removeprefix("Patient/") for value in values]
    if not all(ID.fullmatch(id_) for id_ in ids):
        raise BadValue("patient needs an id, or Patient/id")
    found.animals.append(tuple(ids))


def _count(found: AuditSearch, value: str) -> None:
    if not (value.isascii() and value.isdigit() and len(value) < 10):
        raise BadValue("_count needs a positive whole number")
    if int(value) == 0:
        raise BadValue("counting the audit is not offered (_count=0): read it page by page")
    found.count = min(int(value), LARGEST_PAGE)


def _only(name: str, *offered: str) -> Callable[[AuditSearch, str], None]:
    def read(_: AuditSearch, value: str) -> None:
        if value not in offered:
            raise BadValue(f"{name} is not offered on the audit but as {' or '.join(offered)}")

    return read


_READERS: Mapping[str, Callable[[AuditSearch, Sequence[str]], None]] = {
    "_id": _ids,
    "_lastUpdated": _date,
    "action": _token("action", uris.AUDIT_ACTION),
    "date": _date,
    "entity": _entity,
    "outcome": _token("outcome", uris.AUDIT_OUTCOME),
    "patient": _patient,
    "subtype": _subtype,
}
_CONTROLS: Mapping[str, Callable[[AuditSearch, str], None]] = {
    "_count": _count,
    "_sort": _only("_sort", "-date", "-_lastUpdated"),
    "_summary": _only("_summary", "false"),
    "_total": _only("_total", "none"),
}
PARAMETERS = frozenset(_READERS)
"""What the audit is searched by; a part of what R4 has for AuditEvent."""
