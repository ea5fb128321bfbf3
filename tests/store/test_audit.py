"""The audit: written with its transaction or in batches, never twice, and found by what was done to what and when."""

from contextlib import suppress
from dataclasses import replace
from typing import Any

import pytest

from service.basics.errors import Invalid
from service.basics.query import AuditQuery
from service.basics.stored import Trace
from service.store import SqlBooks, audit
from service.store.instants import micros_of

PATIENT = "Patient/1"


def line(n: int, **changes: Any) -> Trace:
    at = f"2026-03-04T05:06:{n:02}.000Z"
    made = Trace(
        f"trace-{n}", at, "read", "R", "0", "desk", f"r{n}", type="Patient", id_of=f"{n}", entities=("Patient/1",)
    )
    return replace(made, **changes)


def ids(books: SqlBooks, organization: str, wanted: AuditQuery) -> list[str]:
    with books.view(organization) as view:
        return [one.id for one in view.traces(wanted)[0]]


def about(*alternatives: tuple[str, str]) -> AuditQuery:
    return AuditQuery(criteria=(alternatives,))


def test_writes_come_with_their_transaction_and_reads_in_batches(books: SqlBooks, organization: str) -> None:
    with books.begin(organization) as work:
        work.trace(line(0))
    with suppress(ZeroDivisionError), books.begin(organization) as work:
        work.trace(line(9))
        _ = 1 // 0
    books.trace_reads([(organization, line(n)) for n in (1, 2, 3)] + [("another", line(4))])
    books.trace_reads([])
    with books.view(organization) as view:
        lines, after = view.traces(count=3)
        rest, end = view.traces(count=3, after=after)
        assert [*lines, *rest] == [line(n) for n in (3, 2, 1, 0)]
        assert end == ""
        with pytest.raises(Invalid):
            view.traces(after="elsewhere")


def test_a_batch_that_is_written_again_leaves_each_line_once(books: SqlBooks, organization: str) -> None:
    books.trace_reads([(organization, line(n)) for n in (1, 2)])
    books.trace_reads([(organization, line(n, client="again")) for n in (1, 2, 3)] + [("another", line(1))])
    with books.view(organization) as view:
        assert [(one.id, one.client) for one in view.traces()[0]] == [
            ("trace-3", "again"),
            ("trace-2", "desk"),
            ("trace-1", "desk"),
        ]


def at(second: int) -> int:
    return micros_of(f"2026-03-04T05:06:{second:02}Z")


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        (AuditQuery((((at(2), None),),)), "5 4 3 2"),
        (AuditQuery((((None, at(2)),), ((at(1), at(4)),))), "2 1"),
        (AuditQuery((((None, at(1)), (at(4), None)),)), "5 4 1"),
        (AuditQuery((((None, at(1)), (at(4), at(4))), ((at(1), None),))), "4 1"),
        (about(("id", "trace-4"), ("id", "trace-2"), ("id", "nobody")), "4 2"),
        (about(("action", "U"), ("outcome", "8")), "5 2"),
        (about(("interaction", "finish"), ("operation", "finish")), "3"),
        (about(("entity", "Patient/1")), "1"),
        (about(("entity", "Patient/2")), "4 2"),
        (about(("entity", "patient/2")), ""),
        (about(("entity", "2")), "5 4 2"),
        (about(("entity", "Patient/22"), ("entity", "Task/x")), "4 3"),
        (about(("entity", "Patient")), ""),
        (about(), ""),
        (AuditQuery((((at(4), None),),), ((("entity", "2"),), (("action", "R"),))), "4"),
        (AuditQuery(criteria=((("id", "trace-4"), ("id", "trace-5")), (("action", "U"),))), "5"),
    ],
)
def test_what_is_wanted_is_found(books: SqlBooks, organization: str, wanted: AuditQuery, *, found: str) -> None:
    operation = line(3, interaction="operation", action="E", operation="finish", type="Task", id_of="x", entities=())
    mine = [
        line(1, entities=()),
        line(2, outcome="8", entities=()),
        operation,
        line(4, id_of="", entities=("Patient/22", "Patient/2", "Media/222")),
        line(5, action="U", type="Task", id_of="2", entities=()),
    ]
    books.trace_reads([(organization, one) for one in mine])
    books.trace_reads([("another", replace(one, id=f"other-{one.id}", client="another")) for one in mine])
    assert ids(books, organization, wanted) == [f"trace-{n}" for n in found.split()]


def test_a_search_for_something_rare_goes_on_page_by_page(books: SqlBooks, organization: str) -> None:
    books.trace_reads([(organization, line(n, outcome="8" if n in (1, 30, 31) else "0")) for n in range(40)])
    rare, pages, after = about(("outcome", "8")), [], "start"
    while after:
        with books.view(organization) as view:
            lines, after = audit.page(view._mine, wanted=rare, count=2, after="" if after == "start" else after, walk=8)
        pages.append([one.id for one in lines])
    assert [one for page in pages for one in page] == ["trace-31", "trace-30", "trace-1"]
    assert len(pages) == 5  # of 9, 8, 8, 8 and the last 7 lines
    assert [] in pages
