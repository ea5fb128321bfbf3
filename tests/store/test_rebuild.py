"""Rebuild: what is derived comes back from the resources alone, and what is not is left alone."""

import json
from collections.abc import Iterable
from typing import Any

from service.basics.query import Exact, Query
from service.basics.stored import Exam, Keys, StepKey
from service.store import Derivations, SqlBooks
from service.store.work import SqlWork
from tests.builders.records import changed, keys, new, removed, version

PROJECTIONS = ("mark", "text_mark", "claim", "exam", "step", "counter")


def _keys(_organization: str, resource: dict[str, Any]) -> Keys:
    named = [(7, resource["name"])] if "name" in resource else []
    return keys(*resource.get("marks", ()), texts=named)


def _claims(resource: dict[str, Any]) -> Iterable[str]:
    return [f"identifier={value}" for value in resource.get("own", ())]


def _number(resource: dict[str, Any]) -> tuple[int, int] | None:
    return (2026, resource["sequel"]) if resource["resourceType"] == "Invoice" else None


def _exams(work: SqlWork) -> tuple[list[Exam], list[StepKey]]:
    tasks = [json.loads(found.body) for found in work.search(Query("Task", (Exact((50,)),))).matches]
    exams = [Exam(t["id"], t["order"], "a", "p", "full", "h", "accepted") for t in tasks if "order" in t]
    steps = [StepKey(t["exam"], t["id"], t["id"], "ready") for t in tasks if "exam" in t]
    return exams, steps


DERIVE = Derivations(decode=json.loads, keys=_keys, claims=_claims, number=_number, exams=_exams)


def _fill(books: SqlBooks, organization: str) -> None:
    contents: list[tuple[str, dict[str, Any]]] = [
        *(("Patient", {"marks": [1, n], "name": "ana", "own": [f"p{n}"]}) for n in range(10, 15)),
        *(("Task", {"marks": [50], "order": f"o{n}"}) for n in range(2)),
        ("Task", {"marks": [50], "exam": "e"}),
        *(("Invoice", {"marks": [60], "sequel": n}) for n in (1, 3, 2)),
    ]
    with books.begin(organization) as work:
        for type_, content in contents:
            record = new(version(type_, **content), _keys("", content))
            work.put([record])
            for criteria in _claims(content):
                work.claim(type_, criteria, record.new.id)
        last = changed(record, record.keys, sequel=2, marks=[60])
        work.put([last])
        gone = new(version("Patient", marks=[1]), keys(1))
        work.put([gone, removed(gone)])
        exams, steps = _exams(work)
        for exam in exams:
            work.save_exam(exam)
        work.save_steps(steps)
        assert [work.next_invoice_number(2026) for _ in range(3)] == [1, 2, 3]
        work.save_receipt("kept", "print", b"answer")


def _rows(books: SqlBooks, organization: str) -> dict[str, list[object]]:
    own = "row IN (SELECT row FROM resource WHERE organization = ?)"
    with books._pool.reading() as session:
        return {
            table: sorted(
                session.rows(
                    f"SELECT * FROM {table} WHERE {own if 'mark' in table else 'organization = ?'}", organization
                )
            )
            for table in (*PROJECTIONS, "resource", "former", "receipt")
        }


def _wipe(books: SqlBooks, organization: str) -> None:
    own = "row IN (SELECT row FROM resource WHERE organization = ?)"
    with books._pool.writing() as session:
        for table in PROJECTIONS:
            session.run(f"DELETE FROM {table} WHERE {own if 'mark' in table else 'organization = ?'}", organization)


def test_projections_come_back_from_nothing(books: SqlBooks, organization: str) -> None:
    _fill(books, organization)
    before = _rows(books, organization)
    assert all(before.values())
    _wipe(books, organization)
    rebuilt = books.rebuild(organization, DERIVE)
    assert _rows(books, organization) == before
    assert (rebuilt.resources, rebuilt.exams, rebuilt.steps, rebuilt.contested) == (11, 2, 1, ())
    assert books.rebuild(organization, DERIVE) == rebuilt  # and again changes nothing
    assert _rows(books, organization) == before
    with books.begin(organization) as work:
        assert work.next_invoice_number(2026) == 4


def test_wrong_projections_are_put_right_and_others_are_left_alone(books: SqlBooks, organization: str) -> None:
    stranger = f"{organization}-other"
    for one in (organization, stranger):
        _fill(books, one)
    before, elsewhere = _rows(books, organization), _rows(books, stranger)
    with books.begin(organization) as work:
        work.save_exam(Exam("made up", "o", "a", "p", "full", "h", "accepted"))
        work.claim("Patient", "identifier=of nobody", "unknown")
    with books._pool.writing() as session:
        session.run(
            "UPDATE mark SET key = key + 1000 WHERE row IN (SELECT row FROM resource WHERE organization = ?)",
            organization,
        )
    books.rebuild(organization, DERIVE)
    assert _rows(books, organization) == before
    assert _rows(books, stranger) == elsewhere


def test_an_identity_that_two_resources_claim_is_named(books: SqlBooks, organization: str) -> None:
    first, second = (new(version("Patient", own=["same"])) for _ in range(2))
    with books.begin(organization) as work:
        work.put([first, second])
    rebuilt = books.rebuild(organization, DERIVE)
    assert rebuilt.contested == (("Patient", "identifier=same", first.new.id, second.new.id),)
