"""A practice played through the actions by a clock that is set, whose units of work can be lost before their commit."""

import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

from service.actions import billing_check, close_month, import_tariff
from service.actions.billing_report import invoices
from service.actions.billing_report import stretch as stretch_of
from service.actions.gathering import all_of
from service.actions.operations import OPERATIONS
from service.actions.ports import Caller, House
from service.actions.transact import transact
from service.actions.writing import decoded
from service.billing.books import Sums
from service.catalogue.catalogue import Catalogue
from service.catalogue.load import Catalogues
from service.commands.billing_report import totals
from service.fhir import exact, uris
from service.fhir.reading.bundle import entries
from service.fhir.reading.task import step_code
from service.store import SqlBooks, open_books
from tests.builders import orders
from tests.builders.bills import Clock
from tests.builders.counter import note
from tests.builders.instances import BILLING
from tests.builders.survey import ALL

Json = dict[str, Any]
BY = "M. Anager"


class Lost(Exception):
    """The process ended before it could commit."""


class Losing:
    """Books of which the next unit of work is lost, when it is said so; everything else is theirs."""

    def __init__(self, books: SqlBooks) -> None:
        self._books, self.lose = books, False

    def __getattr__(self, name: str) -> Any:
        return getattr(self._books, name)

    @contextmanager
    def begin(self, organization: str) -> Iterator[Any]:
        """A unit of work that may not live to its commit."""
        with self._books.begin(organization) as work:
            yield work
            if self.lose:
                self.lose = False
                raise Lost


class AtWork:
    """One practice of its own in a database that others may share."""

    def __init__(self, url: str, clock: Clock, catalogue: Catalogue, **settings: Any) -> None:
        self.url, self.clock, self.catalogue = url, clock, catalogue
        self.slug = f"practice-{uuid.uuid4().hex[:12]}"
        self.restart()
        self.real.add_organization(
            self.slug, "Practice of a test", "practice", exact.encode({**BILLING, **settings}).decode()
        )

    def restart(self) -> None:
        """As a process that begins: everything is read from the database again."""
        self.close()
        self.real = open_books(self.url, clock=self.clock)
        self.books = Losing(self.real)
        self.house = House(self.books, Catalogues(self.catalogue, self.real.catalogue_text), "http://127.0.0.1/fhir")
        self.caller = Caller(self.slug, "practice", ALL, "a test")

    def close(self) -> None:
        if hasattr(self, "real"):
            self.real.close()

    @property
    def now(self) -> str:
        return exact.instant(self.clock.now)

    def pass_(self, **time: int) -> None:
        """Let time pass."""
        self.clock.now = self.clock.now + timedelta(**time)

    def send(self, bundle: Json) -> list[Any]:
        """What a Bundle or a resource alone led to."""
        whole = bundle if bundle["resourceType"] == "Bundle" else orders.transaction([orders.entry(bundle)])
        return transact(self.house, self.caller, entries(exact.decode(exact.encode(whole))))

    def order(self, service: str) -> str:
        """The exam of a new order for an animal of its own."""
        sites = {} if service in ("full", "fluid-check") else {"bodySite": [orders.concept(uris.STRUCTURE, "spleen")]}
        done = self.send(orders.bundle(service=service, priority="routine", **sites))
        (order,) = (r.stored.id for r in done if r.stored and r.stored.type == "ServiceRequest")
        with self.real.view(self.slug) as view:
            return str(view.exam_of_order(order).id)

    def row(self, exam: str) -> Any:
        """The exam's row."""
        with self.real.view(self.slug) as view:
            return view.exam(exam)

    def note(self, exam: str, code: str, site: str = "") -> None:
        """Something done in an exam besides it."""
        row = self.row(exam)
        on = {
            "basedOn": [{"reference": f"ServiceRequest/{row.order}"}],
            "subject": {"reference": f"Patient/{row.animal}"},
        }
        self.send({**note(code, site=site), **on, "effectiveDateTime": self.now})

    def survey(self, exam: str) -> None:
        """Each step that is open settled by a statement."""
        with self.real.view(self.slug) as view:
            steps = [t for t in map(decoded, view.steps(exam)) if t["status"] == "ready" and step_code(t)]
        for task in steps:
            said = {"disposition": "not-seen", "reason": "gas", "performer": "Examiner"}
            self.operate(task["id"], "settle", **said)

    def operate(self, task: str, name: str, *parts: Json, **said: Any) -> Json:
        """The answer of an operation."""
        whole = orders.parameters(said)
        whole["parameter"] = [*whole.get("parameter", []), *parts]
        return OPERATIONS[name](self.house, self.caller, task, whole)

    def import_(self, text: str) -> None:
        """`tariff import` of a file."""
        change = import_tariff.plan(self.house, self.slug, name="prices.csv", given=text)
        import_tariff.keep(self.house, self.slug, change, by=BY)

    def close_books(self, month: str) -> None:
        """`billing close` of a month."""
        close_month.close(self.house, self.slug, month=month, by=BY, told=totals)

    def totals(self, month: str) -> list[Json]:
        """What the month comes to as it stands."""
        sums = Sums()
        with self.real.view(self.slug) as view:
            for one in invoices(self.house, view, stretch_of(month)):
                sums.add(one)
        return totals(sums.all())

    def exceptions(self) -> Mapping[str, set[str]]:
        """What is open on the bookkeeper's list after a look: the kinds by what they are about."""
        billing_check.check(self.house, self.slug, now=self.now)
        found: dict[str, set[str]] = {}
        with self.real.view(self.slug) as view:
            code = f"{uris.TASK_CODE}|billing-exception"
            for task in all_of(self.house, view, "Task", code=code, status="requested"):
                kinds = [c["code"] for c in task["code"]["coding"] if c["system"] == uris.BILLING_EXCEPTION]
                found.setdefault(task["focus"]["reference"], set()).update(kinds)
        return found

    def invoices(self, *states: str) -> list[Json]:
        """The invoices and credits, or with states those in them (estimates are drafts)."""
        wanted = states or ("issued", "balanced")
        return [one for one in self.all("Invoice") if one["status"] in wanted]

    def all(self, type_: str) -> list[Json]:
        """All resources of a type, the oldest first."""
        with self.real.view(self.slug) as view:
            return sorted(all_of(self.house, view, type_), key=lambda one: str(one["id"]))
