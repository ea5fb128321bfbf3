"""Anything that can happen to a practice's money, in any order, as a machine of hypothesis."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from service.basics.errors import Conflict, Refusal
from tests.billing.money_holding import ZONE, Holding, Known
from tests.builders.counter import line
from tests.builders.practice_at_work import BY, Lost
from tests.builders.tariff_rows import row, tariff

Json = dict[str, Any]
SITES = ("spleen", "kidney_left", "bladder")
NOTES = ("doppler", "sample", "drainage", "image-export")
SERVICES = ("fluid-check", "limited")
SIGNED = {"interpreter": "Dr I. Reader", "conclusion": "As expected."}
LATE = tariff(row("drainage", organization="", amount="52.00", valid_from="2020-01-01", valid_to="2089-12-31"))
DONE = st.lists(st.tuples(st.sampled_from(NOTES), st.sampled_from(SITES)), max_size=4)
LEFT = {"equipment": "none", "compliance": "limited"}
SHORT = st.sampled_from(("", "", *LEFT))


class Money(Holding):
    """Its rules: each is one thing that somebody does, or that befalls the service."""

    @rule(service=st.sampled_from(SERVICES), notes=DONE)
    def order(self, service: str, notes: list[tuple[str, str]]) -> None:
        self.exams.append(Known(self.work.order(service), service))
        self._noted(self.exams[-1], notes)

    @precondition(lambda self: self.of("open"))
    @rule(data=st.data(), notes=DONE)
    def perform(self, data: st.DataObject, notes: list[tuple[str, str]]) -> None:
        self._noted(self.drawn(data, "open"), notes)

    def _noted(self, exam: Known, notes: list[tuple[str, str]]) -> None:
        for what, site in notes:
            exam.day = exam.day or self.today()
            self.work.note(exam.id, what, site if what == "sample" else "")
            exam.done.append(f"{what} {site}" if what == "sample" else what)

    @precondition(lambda self: self.of("open"))
    @rule(data=st.data(), short=SHORT)
    def finish(self, data: st.DataObject, short: str) -> None:
        self._end(self.drawn(data, "open"), short)

    @rule(service=st.sampled_from(SERVICES), notes=DONE, short=SHORT)
    def examine(self, service: str, notes: list[tuple[str, str]], short: str) -> None:
        """From its order to its end."""
        self.order(service, notes)
        self._end(self.exams[-1], short)

    def _end(self, exam: Known, short: str) -> None:
        """Finished, or cut short for a reason."""
        exam.day = exam.day or self.today()
        if not short:
            self.work.survey(exam.id)
            exam.surveyed = True
        if short and not exam.surveyed:  # else there is no rest that is left
            exam.effect = LEFT[short]
        self._finished(exam, {**SIGNED, **({"remaining": short, "detail": "It was so."} if short else {})})

    def _finished(self, exam: Known, said: Json) -> None:
        estimated = self.estimated(exam) if exam.effect == "full" else None
        ask = lambda: self.work.operate(exam.id, "finish", **said)  # noqa: E731
        try:
            self.asked.append((ask, ask()))
        except Conflict:
            assert self._closed_now()
            return
        exam.state = "finished"
        billed = {one.payer: one.totals[1] for one in self.standing_of(exam)}
        assert estimated in (None, billed), "an estimate just before is what is billed"
        exam.waited = exam.effect != "none" and "drainage" in exam.done and not self.drained

    @precondition(lambda self: self.of("finished"))
    @rule(data=st.data(), word=st.uuids())
    def amend(self, data: st.DataObject, word: Any) -> None:
        """B07: other words change no money."""
        exam = self.drawn(data, "finished")
        before = self.money()
        said = {"status": "amended", "reason": f"Reads better {word}", "by": BY, "major": False}
        self.work.operate(exam.id, "amend", conclusion=f"As expected, {word}.", **said)
        assert self.money() == before

    @precondition(lambda self: self.of("open", "finished"))
    @rule(data=st.data())
    def withdraw(self, data: st.DataObject) -> None:
        exam = self.drawn(data, "open", "finished")
        ask = lambda: self.work.operate(exam.id, "withdraw", reason="Wrong animal.", by=BY)  # noqa: E731
        self.asked.append((ask, ask()))
        exam.state = "withdrawn"

    # -- money

    @precondition(lambda self: self.of("finished"))
    @rule(data=st.data(), part=st.sampled_from(("all", "amount", "quantity")), cents=st.integers(1, 9000))
    def credit(self, data: st.DataObject, part: str, cents: int) -> None:
        exam = self.drawn(data, "finished")
        if not (mine := self.standing_of(exam)):
            return
        invoice = data.draw(st.sampled_from(mine), label="invoice")
        amount = {"value": Decimal(cents).scaleb(-2), "currency": "EUR"}
        parts = {"all": [], "amount": [line(1, amount=amount)], "quantity": [line(1, quantity=Decimal(1))]}[part]
        reason = f"Agreed {len(self.asked)}"
        said = {"reason": reason, "by": BY, "invoice": f"Invoice/{invoice.id}"}
        ask = lambda: self.work.operate(exam.id, "credit", *parts, **said)  # noqa: E731
        try:
            self.asked.append((ask, ask()))
            exam.credited = True
        except Refusal:
            assert part != "all"  # more than was left of the line

    @precondition(lambda self: self.of("finished"))
    @rule(data=st.data(), again=st.booleans())
    def bill(self, data: st.DataObject, again: bool) -> None:
        exam = self.drawn(data, "finished")
        for _ in range(2):  # asked twice, billed once
            before = len(self.work.all("Invoice"))
            self.work.operate(exam.id, "bill", by=BY, **({"again": True} if again else {}))
        assert len(self.work.all("Invoice")) == before

    @rule(more=st.integers(-300, 900))
    def reprice(self, more: int) -> None:
        """From tomorrow on."""
        day = f"{self.work.clock.now.astimezone(ZoneInfo(ZONE)) + timedelta(days=1):%Y-%m-%d}"
        amount = self.prices[-1][1] + Decimal(more).scaleb(-2)
        if day <= self.prices[-1][0] or amount <= 0:
            return
        self.work.import_(tariff(row("fluid-check", amount=str(amount), kind="exam", valid_from=day, organization="")))
        self.prices.append((day, amount))

    @precondition(lambda self: not self.drained)
    @rule()
    def notice_the_missing_price(self) -> None:
        self.work.import_(LATE)
        self.drained = True

    @rule()
    def close(self) -> None:
        """The month before this one."""
        first = self.work.clock.now.astimezone(ZoneInfo(ZONE)).replace(day=1)
        month = f"{first - timedelta(days=1):%Y-%m}"
        if month in self.closed:
            return
        before = self.work.totals(month)
        self.work.close_books(month)
        self.closed[month] = before

    def _closed_now(self) -> bool:
        return self.today()[:7] in self.closed

    @rule(hours=st.sampled_from((1, 7, 26, 100, 800)))
    def time_passes(self, hours: int) -> None:
        self.work.pass_(hours=hours)

    @precondition(lambda self: self.asked)
    @rule(data=st.data())
    def repeat(self, data: st.DataObject) -> None:
        """Any request once more: the first answer, and nothing changes."""
        ask, told = data.draw(st.sampled_from(self.asked), label="request")
        before = self.money()
        assert ask() == told
        assert self.money() == before

    @precondition(lambda self: self.of("open"))
    @rule(data=st.data())
    def crash_amid_finishing(self, data: st.DataObject) -> None:
        exam = self.drawn(data, "open")
        exam.day = exam.day or self.today()
        self.work.survey(exam.id)
        exam.surveyed = True
        self._lost(lambda: self.work.operate(exam.id, "finish", **SIGNED))

    @precondition(lambda self: self.of("finished"))
    @rule(data=st.data(), name=st.sampled_from(("withdraw", "credit")))
    def crash_amid_crediting(self, data: st.DataObject, name: str) -> None:
        exam = self.drawn(data, "finished")
        if mine := self.standing_of(exam):
            named = {"invoice": f"Invoice/{mine[0].id}"} if name == "credit" else {}
            self._lost(lambda: self.work.operate(exam.id, name, reason="Crash.", by=BY, **named))

    def _lost(self, ask: Callable[[], Json]) -> None:
        """The process ends before the commit and begins anew: nothing of it was done."""
        before = self.money()
        self.work.books.lose = True
        try:
            ask()
        except Lost:
            self.work.restart()
        else:
            raise AssertionError("it was not lost")
        assert self.money() == before
