"""The search of the audit, next to the search that every other type has."""

from collections.abc import Sequence
from dataclasses import replace
from urllib.parse import parse_qsl

import pytest

from service.basics.errors import Invalid
from service.basics.query import AuditQuery
from service.basics.stored import Record, Stored, Trace
from service.fhir import search, uris
from service.fhir.search import audit
from service.fhir.writing.audit import audit_event
from service.store import SqlBooks
from tests.builders import oracle
from tests.builders.audit_lines import BASE, LINES

SEARCHES = [
    "",
    "date=2026-11-25",
    "date=ge2026-11-25T13:04:31Z",
    "date=gt2026-11-25T13:04:31Z",
    "date=lt2026-11-25T13:04:31.000Z",
    "date=le2026-11-25T13:04:31.000Z",
    "date=ne2026-11-25T13:04:31Z",
    "date=sa2026-11-24&date=eb2026-11-25T13:04:35Z",
    "date=2026-11-25T13:04:31Z,ge2026-11-25T13:04:40Z",
    "date=ap2026-11-25",
    "date=2027",
    "_lastUpdated=ge2026-11-25T13:04:35Z",
    "action=C",
    "action=C,U",
    "action=http://hl7.org/fhir/audit-event-action|R",
    "action=http://other.example|R",
    "action=true",
    "outcome=0",
    "outcome=4,8",
    "outcome=4&action=R",
    "subtype=read",
    "subtype=finish",
    "subtype=operation",
    f"subtype={uris.RESTFUL}|operation",
    f"subtype={uris.RESTFUL}|finish",
    f"subtype={uris.OPERATION}|finish,{uris.RESTFUL}|vread",
    "subtype=http://other.example|read",
    "entity=Patient/p1",
    "entity=Patient/P1",
    "entity=Task/t1",
    "entity=Patient/p1,Task/t1",
    "entity=Patient/p1&entity=Patient/p2",
    f"entity={BASE}/Media/m1",
    "patient=p1",
    "patient=Patient/p2",
    "_id=01982c50-0000-7000-8000-000000000003,01982c50-0000-7000-8000-000000000005,x",
    "_id=01982c50-0000-7000-8000-000000000003&action=R",
]


def moments(lines: Sequence[Trace]) -> list[Trace]:
    """The lines, one second apart."""
    return [
        replace(line, id=f"01982c50-0000-7000-8000-{n:012}", recorded=f"2026-11-25T13:04:{29 + n}.{n:03}Z")
        for n, line in enumerate(lines)
    ]


def record(organization: str, line: Trace) -> Record:
    event = audit_event(line, organization=organization, base=BASE)
    return Record(Stored("AuditEvent", line.id, 1, line.recorded, b""), search.keys(organization, event))


@pytest.mark.parametrize("query", SEARCHES)
def test_the_audit_is_searched_as_its_events_would_be(books: SqlBooks, organization: str, query: str) -> None:
    """The search of all other types, run by hand over the rendered events, is what it is compared with."""
    lines = moments(list(LINES.values()))
    books.trace_reads([(organization, line) for line in lines])
    books.trace_reads([("another", line) for line in lines])
    params = parse_qsl(query)
    with books.view(organization) as view:
        found = [one.id for one in view.traces(audit.parse(params, base=BASE).wanted)[0]]
    general = search.parse(organization, "AuditEvent", params, strict=True, base=BASE)
    same = oracle.matches([record(organization, line) for line in lines], general)
    assert found == sorted((one.id for one in same), reverse=True)


def test_the_searches_find_something() -> None:
    lines, some = moments(list(LINES.values())), 0
    for query in SEARCHES:
        general = search.parse("a", "AuditEvent", parse_qsl(query), strict=True, base=BASE)
        some += 0 < len(oracle.matches([record("a", line) for line in lines], general)) < len(lines)
    assert some > 25


@pytest.mark.parametrize(
    ("query", "word"),
    [
        ("date=yesterday", "date"),
        ("action=|", "code"),
        ("action:not=R", ":not"),
        ("date:missing=true", ":missing"),
        ("entity=a/b/c", "Type/id"),
        ("patient=Task/1", "Patient/id"),
        ("_count=x", "_count"),
        ("_count=0", "page by page"),
        ("_summary=count", "_summary"),
        ("_total=accurate", "_total"),
        ("_sort=date", "_sort"),
        (f"_id={','.join(map(str, range(101)))}", "100"),
        ("_id=,", "value"),
        ("colour=blue", "colour"),
    ],
)
def test_what_is_not_understood_is_refused_with_words(query: str, *, word: str) -> None:
    with pytest.raises(Invalid) as refused:
        audit.parse(parse_qsl(query), strict=True)
    assert word in refused.value.faults[0].text


def test_what_is_only_not_known_is_passed_over_and_told() -> None:
    found = audit.parse([("agent-name", "x"), ("_count", "9999"), ("_sort", "-date"), ("_format", "json")])
    assert found.ignored == ["agent-name"]
    assert found.used == [("_count", "9999"), ("_sort", "-date")]
    assert (found.count, found.wanted) == (audit.LARGEST_PAGE, AuditQuery())


def test_every_fault_is_told_at_once() -> None:
    with pytest.raises(Invalid) as refused:
        audit.parse([("date", "x"), ("_count", "x"), ("entity", "/")])
    assert len(refused.value.faults) == 3


def test_what_is_declared_is_what_is_read() -> None:
    declared = {name: url for name, _, url in search.parameters("AuditEvent")}
    assert declared.keys() == audit.PARAMETERS
    assert declared["entity"] == "http://hl7.org/fhir/SearchParameter/AuditEvent-entity"
