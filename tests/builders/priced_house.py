"""A house with two services, a price list and one exam, for the actions that bill."""

from dataclasses import fields, replace
from datetime import date
from decimal import Decimal
from typing import Any

from service.actions import bill_exam
from service.actions.ports import Caller, House, Work
from service.actions.writing import write
from service.basics.ids import new_id
from service.basics.money import Money
from service.basics.stored import Exam
from service.billing.exam_facts import Shown
from service.billing.tariff import Price, Tax
from service.billing.triggers import Trigger
from service.catalogue.catalogue import Catalogue, Caution
from service.exam.animal import Animal
from service.exam.order import Order
from service.exam.rules import Service
from tests.builders.money import CURRENCIES, EUR, PRACTICE
from tests.builders.survey import mappings

CAUTION = Caution("C18", "invoice", "The report never waits for money.")


def service(key: str) -> Service:
    return Service(key, f"Abdomen, {key}", (), key, False, (), key)


def price(code: str, minor: int, **changes: Any) -> Price:
    kind = "exam" if code in ("full", "limited", "recheck") else "service"
    row = Price(code, f"Price of {code}", Money(minor, EUR), Tax(Decimal(20)), date(2026, 1, 1), kind=kind)
    return replace(row, **changes)


PRICES = (
    price("full", 18500),
    price("limited", 9800),
    price("doppler", 3500),
    price("sedation", 6200),
    price("out-of-hours", 9000),
)
ALWAYS = ("doppler", "sedation", "sample", "cystocentesis")
TRIGGERS = tuple(
    Trigger(code, f"Charge for {code}", code, code in ALWAYS)
    for code in (*ALWAYS, "priority", "specialist", "clipping", "call-out", "out-of-hours", "no-show")
)


def catalogue(prices: tuple[Price, ...] = PRICES) -> Catalogue:
    """A catalogue of nothing but services, prices and one caution."""
    empty: dict[str, Any] = {f.name: {} for f in fields(Catalogue)}
    services = {key: service(key) for key in ("full", "limited", "recheck")}
    own = {"hash": "h", "services": services, "prices": prices, "currencies": CURRENCIES, "cautions": (CAUTION,)}
    own["triggers"] = TRIGGERS
    own["invoice_words"] = {"en": {**mappings().invoice_words["en"], "care": CAUTION.text}}
    return Catalogue(**{**empty, **own})


class Shelf:
    """The catalogue in force, which is also the one every exam was opened with."""

    def __init__(self, current: Catalogue) -> None:
        self.current = current

    def of(self, hash_: str) -> Catalogue:
        return self.current

    def over(self, overlay: str, tariff: str = "") -> Catalogue:
        return self.current


def house(books: Any, prices: tuple[Price, ...] = PRICES) -> House:
    return House(books, Shelf(catalogue(prices)))


def caller(organization: str) -> Caller:
    return Caller(organization, "practice", (), "a token")


def accepted(at: House, work: Work, *, service_key: str = "full") -> Exam:
    """An exam with its planned charge, stored."""
    exam = Exam(new_id(), new_id(), new_id(), new_id(), service_key, "h", "accepted")
    order = Order(exam.order, Animal(exam.animal, "dog"), service(service_key), requester="Organization/clinic")
    current = at.catalogues.current
    write(work, bill_exam.plan(at, work, caller=caller(work.organization), exam=exam, order=order, catalogue=current))
    work.save_exam(exam)
    return exam


FACTS = bill_exam.ExamFacts(
    started="2026-11-25T10:00:00Z",
    animal_name="Bramble",
    performer="Practitioner/p",
    performer_name="Dr. S. Probe",
    owner="RelatedPerson/owner",
    owner_name="R. Ownwell",
)


def shown(*triggers: str, times: int = 1) -> tuple[Shown, ...]:
    """What an exam shows, each so many times."""
    return tuple(Shown(one, times) for one in triggers)


def performed(
    at: House, work: Work, exam: Exam, *, practice: Any = PRACTICE, again: bool = False, **changes: Any
) -> bill_exam.Billed:
    """The exam billed by changed FACTS, and everything written."""
    billed = bill_exam.perform(
        at,
        work,
        caller=caller(work.organization),
        exam=exam,
        facts=replace(FACTS, **changes),
        catalogue=at.catalogues.current,
        practice=practice,
        again=again,
    )
    write(work, [*billed.new, *billed.invoices], billed.changed)
    if billed.invoices:
        work.save_exam(replace(exam, invoice=billed.invoices[0]["id"]))
    return billed
