"""What a machine of a practice's money knows of its exams, and what must hold after each of its steps."""

from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant

from service.catalogue.catalogue import Catalogue
from service.catalogue.files import read_folder
from service.catalogue.load import load
from tests.builders.bills import Clock
from tests.builders.ledger_rules import ENDED, Paper, faults, papers, standing
from tests.builders.practice_at_work import AtWork
from tests.builders.tariff_rows import row, tariff

Json = dict[str, Any]
ZONE = "Europe/Vienna"
CHARGE = {"image-export": "export"}
PERFORMED = ("billed", "billable", "not-billable", "entered-in-error")


BEGINNING = tariff(
    row("fluid-check", amount="46.03", kind="exam"),
    row("limited", amount="98.00", kind="exam"),
    row("doppler", amount="35.07", basis="gross", tax_rate="10"),
    row("sample", amount="45.01", quantity="site", cap="2"),
    row("export", amount="15.01", payer="requester"),
    row("drainage", amount="52.00", valid_from="2090-01-01"),  # not priced until somebody notices
    row("out-of-hours", amount="", surcharge="50", surcharge_on="exam service"),
)


@cache
def beginning() -> Catalogue:
    """The repository's mappings with this price list."""
    return load({**read_folder(), "tariff.csv": BEGINNING})


@dataclass
class Known:
    """What the machine knows of one exam: what was done in it, and what became of it."""

    id: str
    service: str
    state: str = "open"
    day: str = ""  # of its start, there
    done: list[str] = field(default_factory=list)
    surveyed: bool = False  # nothing is owed any more
    effect: str = "full"
    waited: bool = False  # something had no price when it was finished
    credited: bool = False


class Holding(RuleBasedStateMachine):
    """`url` is set by whoever runs it; each run has a practice of its own."""

    url = ""

    def __init__(self) -> None:
        super().__init__()
        self.work = AtWork(self.url, Clock("2025-10-24T09:00:00Z"), beginning(), zone=ZONE)
        self.exams: list[Known] = []
        self.prices = [("2020-01-01", Decimal("46.03"))]
        self.closed: dict[str, list[Json]] = {}
        self.issued: dict[str, Json] = {}
        self.asked: list[tuple[Callable[[], Json], Json]] = []  # requests that are answered the same when repeated
        self.drained = False  # whether the drainage has its price

    def teardown(self) -> None:
        self.work.close()

    def of(self, *states: str) -> list[Known]:
        return [one for one in self.exams if one.state in states]

    def drawn(self, data: st.DataObject, *states: str) -> Known:
        return data.draw(st.sampled_from(self.of(*states)), label="exam")

    def standing_of(self, exam: Known) -> list[Paper]:
        """The invoices of an exam of which something is left."""
        return [one for one in papers(self.work.invoices()) if one.exam == exam.id and one.stands]

    def estimated(self, exam: Known) -> dict[str, Decimal]:
        """What each payer is told that an exam will cost, gross; asked twice, told the same."""
        told = [self.work.operate(exam.id, "estimate") for _ in range(2)]
        assert told[0] == told[1]
        drafts = {p["valueReference"]["reference"] for p in told[0]["parameter"] if p["name"] == "estimate"}
        found = [one for one in self.work.invoices("draft") if f"Invoice/{one['id']}" in drafts]
        return {one["recipient"]["reference"]: one["totalGross"]["value"] for one in found}

    def today(self) -> str:
        return f"{self.work.clock.now.astimezone(ZoneInfo(ZONE)):%Y-%m-%d}"

    # -- what must hold

    def money(self) -> dict[str, Json]:
        """All charges and invoices as they are."""
        return {one["id"]: one for kind in ("Invoice", "ChargeItem") for one in self.work.all(kind)}

    @invariant()
    def the_books_are_sound(self) -> None:
        invoices, charges = self.work.invoices(), self.work.all("ChargeItem")
        assert faults(invoices, charges) == []
        for one in invoices:
            assert self.issued.setdefault(one["id"], one) == one, "an issued invoice was changed"
        assert len(self.issued) == len(invoices)
        by_exam = {one.id: one for one in self.exams}
        for (exam, _), several in standing(papers(invoices)).items():
            assert by_exam[exam].state == "finished", "a withdrawn exam nets to zero"
            assert len(several) == 1 or by_exam[exam].waited or by_exam[exam].credited
        for month, totals in self.closed.items():
            assert self.work.totals(month) == totals, "a closed month has moved"

    @invariant()
    def nothing_performed_is_forgotten(self) -> None:
        charges = self.work.all("ChargeItem")
        open_ = self.work.exceptions()
        for exam in self.exams:
            mine = [c for c in charges if {"reference": f"Task/{exam.id}"} in c["supportingInformation"]]
            if exam.state != "finished":
                assert {c["status"] for c in mine} <= (ENDED if exam.state == "withdrawn" else {"planned"})
                continue
            found: dict[str, list[Json]] = {}
            for one in mine:
                found.setdefault(one["code"]["coding"][0]["code"], []).append(one)
            for code in (exam.service, *(CHARGE.get(d.split()[0], d.split()[0]) for d in exam.done)):
                last = found[code][-1]
                assert last["status"] in PERFORMED
                if exam.effect == "none":
                    assert last["status"] == "not-billable"
                if last["status"] == "billable":
                    assert open_.get(f"ChargeItem/{last['id']}") == {"price-missing"}
            if "sample" in found and exam.effect != "none":
                assert found["sample"][-1]["quantity"]["value"] == len({d for d in exam.done if d.startswith("sample")})
            self._priced_as_of_its_start(exam, found)

    def _priced_as_of_its_start(self, exam: Known, found: dict[str, list[Json]]) -> None:
        """B10: by the list in force when the exam began."""
        if exam.service != "fluid-check":
            return
        ids = {one["id"] for one in found[exam.service]}
        wanted = next(amount for day, amount in reversed(self.prices) if day <= exam.day)
        for paper in papers(self.issued.values()):
            for id_ in ids & paper.charges.keys():
                assert paper.charges[id_] == wanted
