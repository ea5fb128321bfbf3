"""Many callers at once: one identity, one exam, one number each, on both engines."""

import threading
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import pytest

from service.basics.errors import Busy, Conflict
from service.basics.ids import new_id
from service.basics.stored import Exam
from service.store import SqlBooks, retryable
from tests.builders.records import changed, keys, new, version

T = TypeVar("T")
CALLERS = 50
ROUNDS = 20


def _at_once(job: Callable[[int], T], *, callers: int = CALLERS) -> list[T]:
    start = threading.Barrier(callers)

    def wait_and_run(n: int) -> T:
        start.wait()
        return job(n)

    with ThreadPoolExecutor(callers) as pool:
        return list(pool.map(wait_and_run, range(callers)))


def _create_if_none_exists(books: SqlBooks, organization: str, *, criteria: str) -> tuple[int, str]:
    stored = version("Patient", new_id())
    with books.begin(organization) as work:
        holder = work.claim("Patient", criteria, stored.id)
        if holder is not None:
            assert work.get("Patient", holder) is not None  # who was beaten sees the winner's resource
            return 200, holder
        work.put([new(stored, keys(1, 2, 3))])
        return 201, stored.id


def test_a_conditional_create_has_one_winner(books: SqlBooks, organization: str) -> None:
    for n in range(ROUNDS):
        criteria = f"identifier=urn:a|{n}"
        answers = _at_once(lambda _, c=criteria: _create_if_none_exists(books, organization, criteria=c))
        assert Counter(status for status, _ in answers) == {201: 1, 200: CALLERS - 1}
        assert len({id_ for _, id_ in answers}) == 1
    with books.view(organization) as view:
        assert len(view.history("Patient", count=1000).matches) == ROUNDS


def test_a_loser_takes_over_when_the_winner_fails(books: SqlBooks, organization: str) -> None:
    def create(n: int) -> str:
        try:
            with books.begin(organization) as work:
                holder = work.claim("Patient", "identifier=urn:a|x", f"id-{n}")
                if holder is None and n % 2:
                    raise ZeroDivisionError
                return holder or f"id-{n}"
        except ZeroDivisionError:
            return ""

    holders = Counter(filter(None, _at_once(create, callers=20)))
    assert len(holders) == 1
    assert int(next(iter(holders)).removeprefix("id-")) % 2 == 0


def test_invoice_numbers_have_no_gap_even_when_some_fail(books: SqlBooks, organization: str) -> None:
    def number(n: int) -> int:
        try:
            with books.begin(organization) as work:
                taken = work.next_invoice_number(2026)
                if n % 3 == 0:
                    raise ZeroDivisionError
                return taken
        except ZeroDivisionError:
            return 0

    numbers = sorted(filter(None, _at_once(number)))
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) == CALLERS - len(range(0, CALLERS, 3))


def test_an_exam_is_finished_once(books: SqlBooks, organization: str) -> None:
    opened = Exam("exam", "order", "a", "p", "full", "h", "in-progress")
    with books.begin(organization) as work:
        work.save_exam(opened)

    def finish(n: int) -> str:
        with books.begin(organization) as work:
            exam = work.lock_exam("exam")
            assert exam is not None
            if exam.state == "finished":
                return exam.report
            work.save_exam(Exam("exam", "order", "a", "p", "full", "h", "finished", report=f"report-{n}"))
            return f"report-{n}"

    assert len(set(_at_once(finish))) == 1


def test_one_of_many_editors_of_a_version_wins(books: SqlBooks, organization: str) -> None:
    first = new(version(value=0), keys(1))
    with books.begin(organization) as work:
        work.put([first])

    def edit(n: int) -> str:
        try:
            with books.begin(organization) as work:
                work.put([changed(first, keys(n), value=n)])
        except Conflict:
            return "conflict"
        return "changed"

    assert Counter(_at_once(edit)) == {"changed": 1, "conflict": CALLERS - 1}


def test_writers_of_the_same_rows_in_other_orders_never_stop_each_other(books: SqlBooks, organization: str) -> None:
    records = [new(version(value=0)) for _ in range(20)]
    with books.begin(organization) as work:
        work.put(records)

    def edit(n: int) -> str:
        ordered = records[n:] + records[:n]
        try:
            with books.begin(organization) as work:
                current = work.get_many(("Observation", r.new.id) for r in ordered)
                work.put([changed(new(current["Observation", r.new.id])) for r in ordered])
        except Conflict:
            return "conflict"
        except Busy as refusal:
            return "busy" if retryable(refusal) else "unknown"
        return "changed"

    answers = Counter(_at_once(edit, callers=10))
    assert answers["changed"] >= 1
    assert answers["unknown"] == 0
    with books.view(organization) as view:
        versions = {view.get("Observation", r.new.id) for r in records}
    assert {v.version for v in versions if v} == {1 + answers["changed"]}


@pytest.mark.parametrize("length", [10, 5000])
def test_claims_move_and_fall_free(books: SqlBooks, organization: str, length: int) -> None:
    criteria = "identifier=urn:a|" + "ü" * length
    with books.begin(organization) as work:
        assert work.claim("Patient", criteria, "one") is None
        assert work.claim("Patient", criteria, "one") == "one"
        assert work.claim("Patient", criteria, "two") == "one"
        assert work.claim("Patient", criteria + "x", "two") is None
        assert work.claim("Device", criteria, "three") is None
        work.move_claim("Patient", criteria, "two")
        assert work.claim("Patient", criteria, "one") == "two"
        work.drop_claims("Patient", "two")
        assert work.claim("Patient", criteria, "one") is None
        assert work.claim("Device", criteria, "x") == "three"
