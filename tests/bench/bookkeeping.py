"""A month's report against reading the same bodies, and what is forgotten against reading one page; bulk-loaded."""

import io
import os
import tracemalloc
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from service.actions.billing_check import SERIES, check
from service.basics.stored import Exam, Record, Stored
from service.billing.exceptions import ExceptionRule, Found
from service.commands.billing_report import report
from service.fhir import exact, search, uris
from service.fhir.writing.billing_exception import exception_task
from tests.bench.floor import settle
from tests.bench.house import SLUG, Practice
from tests.bench.measuring import Line, cost, in_turns
from tests.builders.bills import many

Json = dict[str, Any]
MONTH = "2026-08"
PAGE = 50
MOST = 10.0  # pages
FLAT = 1.5  # as much memory for twenty-eight times as many
OPEN_ONES = 200
_PART = 1000
_BEGAN = datetime(2026, 8, 1, 8, tzinfo=UTC)
_RULE = ExceptionRule("price-missing", "Price missing", "Give the price list a price.")


def lines(engine: str, url: str, *, count: int, rounds: int) -> list[Line]:
    """Over so many invoices and as many exams."""
    practice = Practice(url)
    try:
        _fill(practice, count)
        settle(url)
        return [
            _report(engine, practice, count),
            _memory(engine, practice, count),
            *_exceptions(engine, practice, count, rounds=rounds),
        ]
    finally:
        practice.close()


def _report(engine: str, practice: Practice, count: int) -> Line:
    def ours() -> None:
        report(practice.house, SLUG, stretch=MONTH, format_="csv", out=io.StringIO())

    def bare() -> None:
        key = search.key(SLUG, "Invoice", "date", "")
        with practice.books.view(SLUG) as view:
            for stored in view.dated(key, low=0, high=1 << 60):
                exact.trusted(stored.body)

    times = in_turns(ours, bare, rounds=1 if count > _PART * 10 else 3, warm=0)
    return cost(f"month report over {count:,} invoices / decoding them", engine, times)


def _memory(engine: str, practice: Practice, count: int) -> Line:
    """What the report of a month holds at most against that of one of its days, a twenty-eighth of it."""

    def peak(stretch: str) -> int:
        with Path(os.devnull).open("w", encoding="utf-8") as out:
            tracemalloc.start()
            try:
                report(practice.house, SLUG, stretch=stretch, format_="csv", out=out)
                return tracemalloc.get_traced_memory()[1]
            finally:
                tracemalloc.stop()

    day, month = peak(f"{MONTH}-07"), peak(MONTH)
    words = f"memory of the report over {count:,} invoices / over a day of them"
    return Line(words, engine, f"{month / 1e6:.1f} MB", f"{day / 1e6:.1f} MB", month / day, FLAT)


def _exceptions(engine: str, practice: Practice, count: int, *, rounds: int) -> list[Line]:
    def page(**criteria: str) -> None:
        query = search.parse(SLUG, "Task", list(criteria.items()), strict=True, base=practice.house.base)
        with practice.books.view(SLUG) as view:
            assert len(view.search(replace(query, count=PAGE)).matches) == PAGE

    def one() -> None:
        page(code=f"{uris.TASK_FULFIL}|fulfill")

    def found() -> None:
        page(code="billing-exception", status="requested")

    def looked() -> None:
        check(practice.house, SLUG, now=exact.instant(_BEGAN + timedelta(days=60)))
        found()

    return [
        cost(f"open exceptions of {count:,} exams / one page", engine, in_turns(found, one, rounds=rounds), most=MOST),
        cost("the same, looked for first / one page", engine, in_turns(looked, one, rounds=rounds), most=MOST),
    ]


def _fill(practice: Practice, count: int) -> None:
    bills = many(count, MONTH)
    for start in range(0, count, _PART):
        numbers = range(start, min(start + _PART, count))
        with practice.books.begin(SLUG) as work:
            work.put([_record(next(bills), at=_at(n)) for n in numbers])
            work.put([_record(one, at=_at(n)) for n in numbers for one in _exam(n)])
            for n in numbers:
                work.save_exam(
                    Exam(f"exam-{n}", f"order-{n}", f"animal-{n}", f"done-{n}", "full", "", "finished", _at(n))
                )
    _forgotten(practice, count)


def _forgotten(practice: Practice, count: int) -> None:
    with practice.books.begin(SLUG) as work:
        found = (Found("price-missing", f"ChargeItem/charge-{n}", "no price", (str(n),)) for n in range(OPEN_ONES))
        tasks = (exception_task(f"left-{n}", one, _RULE, exam=f"exam-{n}", animal="", now=_at(n))
                 for n, one in enumerate(found))  # fmt: skip
        work.put([_record(one, at=_at(n)) for n, one in enumerate(tasks)])
        last = (_BEGAN + count * timedelta(seconds=20) - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
        work.see(SERIES, last + 3_600_000_000)  # everything that is loaded was looked at


def _at(n: int) -> str:
    return exact.instant(_BEGAN + n * timedelta(seconds=20))


def _exam(n: int) -> list[Json]:
    whose, asked = {"reference": f"Patient/animal-{n}"}, [{"reference": f"ServiceRequest/order-{n}"}]
    fulfil = {"coding": [{"system": uris.TASK_FULFIL, "code": "fulfill"}]}
    return [
        {"resourceType": "Task", "id": f"exam-{n}", "status": "completed", "intent": "order", "for": whose,
         "focus": asked[0], "authoredOn": _at(n), "code": fulfil},
        {"resourceType": "Procedure", "id": f"done-{n}", "status": "completed", "subject": whose, "basedOn": asked},
        {"resourceType": "ChargeItem", "id": f"charge-{n}", "status": "billed", "subject": whose,
         "service": [{"reference": f"Procedure/done-{n}"}], "occurrenceDateTime": _at(n),
         "code": {"coding": [{"system": uris.CHARGE, "code": "full"}]}},
    ]  # fmt: skip


def _record(resource: Json, *, at: str) -> Record:
    meta = {"versionId": "1", "lastUpdated": at}
    whole = {"resourceType": resource["resourceType"], "id": resource["id"], "meta": meta} | resource
    stored = Stored(whole["resourceType"], whole["id"], 1, at, exact.encode(whole))
    return Record(stored, search.keys(SLUG, whole))
