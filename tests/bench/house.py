"""A practice on a fresh database of either engine, spoken to through the actions as the HTTP room does it."""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from service.actions import finish_exam
from service.actions.ports import Caller, House
from service.actions.transact import transact
from service.basics.entries import Result
from service.catalogue.load import Catalogues
from service.fhir import exact
from service.fhir.reading import bundle
from service.store import SqlBooks, open_books
from tests.bench import exam

SLUG = "quillfold"
BILLING = {
    "legalName": "Quillfold Imaging",
    "address": "1 Example Lane, Nowhere",
    "taxNumber": "T-1",
    "terms": "14 days",
}


class Practice:
    """One practice with a destination that is never reached: posts are made and stay."""

    def __init__(self, url: str) -> None:
        self.books: SqlBooks = open_books(url)
        self.books.add_organization(SLUG, "Quillfold", "practice", json.dumps(BILLING))
        self.books.add_destination(SLUG, "records", url="http://records.invalid/fhir")
        self.house: Any = House(self.books, Catalogues(exam.mappings(), self.books.catalogue_text))
        self.caller = Caller(SLUG, "practice", ("system/*.cruds",), "bench")

    def take(self, text: bytes) -> list[Result]:
        """A transaction Bundle from its text to its commit."""
        return transact(self.house, self.caller, bundle.entries(exact.decode(text)))

    def placed(self, text: bytes) -> tuple[str, str, str]:
        """(order, animal, exam) of an order Bundle that is taken."""
        animal, _, order = (r.stored.id for r in self.take(text) if r.stored)
        with self.books.view(SLUG) as view:
            found = view.exam_of_order(order)
        assert found is not None
        return order, animal, found.id

    def complete(self, placed: tuple[str, str, str]) -> None:
        """Send whatever the exam still owes."""
        order, animal, task = placed
        while waiting := [t for t in self.tasks(task) if t["status"] == "ready"]:
            self.take(exam.rest(order, animal, waiting))

    def tasks(self, task: str) -> list[dict[str, Any]]:
        """The Tasks of an exam's steps."""
        with self.books.view(SLUG) as view:
            return [exact.trusted(one.body) for one in view.steps(task)]

    def finish(self, task: str) -> None:
        """$finish of an exam."""
        finish_exam.finish(self.house, self.caller, task, exam.finish())

    def left_by(self, run: Callable[[], object]) -> list[bytes]:
        """The bodies of every version that a run leaves behind."""
        since = exact.instant(datetime.now(UTC))
        run()
        with self.books.view(SLUG) as view:
            return [one.body for one in view.history(since=since, count=1000).matches]

    def close(self) -> None:
        """Give the connections back."""
        self.books.close()
