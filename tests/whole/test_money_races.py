"""Many callers at once credit, bill anew, withdraw and finish: one result each, and the books stay sound."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import httpx
import pytest

from service.fhir import exact
from tests.builders.counter import line
from tests.builders.instances import BILLING, Instance
from tests.builders.ledger_rules import faults, papers
from tests.builders.orders import parameters
from tests.whole.conftest import Worlds
from tests.whole.telling import Desk, Exam, Json, result, taken
from tests.whole.test_races import race

FLUID_CHECK = Decimal("46.00")
SIGNED = {"interpreter": "Dr I. Reader", "conclusion": "No abnormality seen."}


@dataclass
class Crowd:
    """So many callers of one practice, spread over the servers of an instance."""

    desk: Desk
    bearer: str
    size: int

    def asks(self, *requests: tuple[str, Json]) -> list[httpx.Response]:
        """The answers to requests (path, Parameters) that all come at once, each from several callers in turn."""
        bodies = [(path, exact.encode(said)) for path, said in requests]
        turn = iter(range(10**6))

        async def call(client: httpx.AsyncClient) -> httpx.Response:
            path, body = bodies[next(turn) % len(bodies)]
            return await client.post(path, content=body)

        return race(self.desk.instance, self.bearer, call, callers=max(self.size, len(bodies)))

    def finished(self) -> Exam:
        """An exam with its invoice of 46.00 and tax."""
        exam = self.desk.place(service="fluid-check", priority="routine")
        self.desk.survey(exam)
        self.desk.finish(exam)
        return exam

    def sound(self) -> list[Json]:
        """All invoices, of which nothing is wrong."""
        invoices = self.desk.search("Invoice")
        assert faults(invoices, self.desk.search("ChargeItem")) == []
        return invoices


@pytest.fixture(params=[20, pytest.param(100, marks=pytest.mark.full)])
def crowd(request: pytest.FixtureRequest, engine: str, worlds: Worlds, tmp_path: Path) -> Iterator[Crowd]:
    """Twenty callers of one server; a hundred of two that share a database."""
    size: int = request.param
    instance = worlds.of(engine)[0] if size < 100 else Instance(worlds.database(engine), tmp_path).serve(2)
    slug = instance.organization("practice", billing=BILLING)
    bearer = instance.token(slug)
    with instance.client(bearer, judged=False) as http:
        yield Crowd(Desk(instance, slug, http, http), bearer, size)
    if size == 100:
        instance.close()


def said(*parts: Json, **words: object) -> Json:
    whole = parameters({"by": "A. Bookkeeper", **words})
    return {**whole, "parameter": [*whole["parameter"], *parts]}


def test_one_credit_and_one_bill_however_many_ask(crowd: Crowd) -> None:
    exam = crowd.finished()
    path = f"Task/{exam.id}/$credit"
    told = crowd.asks((path, said(reason="Wrong owner")))
    assert {a.status_code for a in told} == {200}
    assert len({a.content for a in told}) == 1
    assert len(crowd.sound()) == 2
    again = [result(taken(a)) for a in crowd.asks((f"Task/{exam.id}/$bill", said(again=True)))]
    assert len({one["invoice"] for one in again}) == 1
    assert len(crowd.sound()) == 3


def test_what_many_take_back_is_never_more_than_there_was(crowd: Crowd) -> None:
    exam = crowd.finished()
    each = Decimal(FLUID_CHECK * 2 // crowd.size).quantize(Decimal("0.01")) or Decimal("1.00")
    parts = [said(line(1, amount={"value": each, "currency": "EUR"}), reason=f"Agreed {n}") for n in range(crowd.size)]
    statuses = Counter(a.status_code for a in crowd.asks(*((f"Task/{exam.id}/$credit", one) for one in parts)))
    fits = min(crowd.size, int(FLUID_CHECK / each))
    assert statuses[200] == fits
    assert statuses[422] + statuses[409] == crowd.size - fits
    (invoice,) = papers(crowd.sound())
    assert invoice.left[0] == FLUID_CHECK - fits * each


def test_whoever_withdraws_credits_and_bills_at_once_nothing_is_left(crowd: Crowd) -> None:
    exam = crowd.finished()
    answers = crowd.asks(
        (f"Task/{exam.id}/$credit", said(reason="Wrong owner")),
        (f"Task/{exam.id}/$withdraw", said(reason="Wrong animal")),
        (f"Task/{exam.id}/$bill", said(again=True)),
    )
    assert {a.status_code for a in answers} <= {200, 409}
    assert {one.stands for one in papers(crowd.sound())} == {False}
    assert {c["status"] for c in crowd.desk.search("ChargeItem")} == {"entered-in-error"}


@pytest.mark.full
def test_exams_that_finish_at_once_draw_numbers_without_a_gap(crowd: Crowd) -> None:
    exams = [crowd.desk.place(service="fluid-check", priority="routine") for _ in range(crowd.size)]
    for exam in exams:
        crowd.desk.survey(exam)
    answers = crowd.asks(*((f"Task/{exam.id}/$finish", parameters(SIGNED)) for exam in exams))
    assert {a.status_code for a in answers} == {200}
    assert len(crowd.sound()) == crowd.size
