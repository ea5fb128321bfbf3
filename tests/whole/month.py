"""A month of an invented practice, played over HTTP against a service whose clock is a file; and what was reckoned."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path

from service.actions import import_tariff
from service.fhir import exact, uris
from service.store import open_books
from tests.builders import orders, reckoning
from tests.builders.bills import house
from tests.builders.counter import line, note
from tests.builders.instances import BILLING, Instance
from tests.builders.processes import Server
from tests.builders.reckoning import Planned, coins, local, rates, turned
from tests.whole.clocked_service import showing
from tests.whole.month_papers import INSURER, Paper, Rates, prices
from tests.whole.telling import Desk, Exam, Json, references, result, taken

OPENING = {day: list(reckoning.OPENING[n]) for n, day in enumerate(("mon", "tue", "wed", "thu", "fri"))}
PRACTICE = {
    **BILLING,
    "zone": "Europe/Vienna",
    "opening": {**OPENING, "sun": list(reckoning.OPENING[6])},
    "cashStep": reckoning.COIN / 100,
}
SITES = ("liver", "spleen", "kidney_left")
NOTES = {"export": "image-export"}
BY = "M. Anager"
LATER = {verb: timedelta(hours=n) for n, verb in enumerate(("part", "sample", "withdraw"), start=1)}


@dataclass(order=True)
class Event:
    """Something that happens at an instant to the exam with a number in the plan."""

    at: datetime
    exam: int
    verb: str = field(compare=False)


def clocked(instance: Instance, clock: Path) -> Instance:
    """Start a server of an instance that tells the time by a file."""
    server = Server(log=instance.folder / "clocked.log", environ=instance.environ)
    server.command[2:] = ["tests.whole.clocked_service", str(clock), str(server.port)]
    server.environ["SONOLEDGER_BASE_URL"] = f"{server.url}/fhir"
    instance.servers.append(server)
    server.start()
    server.ready()
    return instance


class Month:
    """The practice and its plan; `papers` is what must be on file by now, reckoned without the service."""

    def __init__(self, instance: Instance, clock: Path, plan: list[Planned], ended: Mapping[int, str]) -> None:
        self.instance, self.clock, self.plan, self.ended = instance, clock, plan, ended
        self.slug = instance.organization("practice", billing=PRACTICE)
        self.http = instance.client(instance.token(self.slug), judged=False)
        self.desk = Desk(instance, self.slug, self.http, self.http)
        self.books = open_books(instance.database, clock=lambda: showing(clock))
        self.papers: list[Paper] = []
        self.told: dict[int, Json] = {}
        self.exams: dict[int, Exam] = {}
        self.open: dict[int, list[tuple[str, str, Rates, int]]] = {}  # of an exam: payer, invoice, what is left, coins

    def __enter__(self) -> "Month":
        return self

    def __exit__(self, *_: object) -> None:
        self.http.close()
        self.books.close()

    def set(self, at: datetime) -> None:
        self.clock.write_text(at.isoformat(), encoding="ascii")

    def import_(self, text: str) -> None:
        """`tariff import` of a file."""
        at = house(self.books)
        change = import_tariff.plan(at, self.slug, name="prices.csv", given=text)
        import_tariff.keep(at, self.slug, change, by=BY)

    def events(self) -> Iterator[Event]:
        """All that happens, in no order."""
        for n, plan in enumerate(self.plan):
            finish = plan.began + timedelta(minutes=plan.finished_after)
            yield Event(plan.began, n, "scan")
            yield Event(finish, n, "finish")
            for verb in self.ended.get(n, "").split():
                early = verb == "stop"
                yield Event(plan.began + timedelta(minutes=10) if early else finish + LATER[verb], n, verb)

    def play(self) -> None:
        """From the first price list to the last event of the month."""
        happening = sorted(self.events())
        self.set(happening[0].at - timedelta(hours=1))
        self.import_(prices(rise=False))
        dearer = False
        for event in happening:
            if not dearer and f"{local(event.at):%d}" > "13":
                self.import_(prices(rise=True))
                dearer = True
            self.set(event.at)
            getattr(self, f"_{event.verb}")(event)

    def _scan(self, event: Event) -> None:
        plan = self.plan[event.exam]
        sites = (
            {"bodySite": [orders.concept(uris.STRUCTURE, "spleen")]} if plan.service in ("limited", "recheck") else {}
        )
        at = plan.began.strftime("%Y-%m-%dT%H:%M:%SZ")
        exam = self.desk.place(at=at, service=plan.service, priority="routine", **sites)
        self.exams[event.exam] = exam
        if any(reckoning.LIST[code][4] == "insurer" for code, _ in plan.done):
            self._insure(exam, at)
        notes = [exam.scanner.about({**one, "effectiveDateTime": at}) for one in _notes(plan)]
        if notes:
            taken(self.desk.note(*notes))
        self.desk.survey(exam)

    def _insure(self, exam: Exam, at: str) -> None:
        insurer = references(self.desk.send(orders.transaction([orders.entry(INSURER, once=True)])))["Organization"]
        cover = {
            "resourceType": "Coverage", "status": "active", "beneficiary": {"reference": f"Patient/{exam.animal}"},
            "payor": [{"reference": f"Organization/{insurer}", "display": INSURER["name"]}],
            "period": {"start": "2025-01-01"},
        }  # fmt: skip
        taken(self.desk.send(cover))

    def _finish(self, event: Event) -> None:
        if self.ended.get(event.exam, "").startswith("stop"):
            return
        plan, exam = self.plan[event.exam], self.exams[event.exam]
        answer = taken(self.desk.operate(exam.id, "finish", interpreter="Dr I. Reader", conclusion="As expected."))
        told = result(answer)
        assert "unbilled" not in told, told
        self.told[event.exam] = told
        invoices = [p["valueReference"]["reference"] for p in answer.json()["parameter"] if p["name"] == "invoice"]
        whole = {payer: rates(bill) for payer, bill in reckoning.bills(plan).items()}
        assert len(invoices) == len(whole), (plan, told)
        for (payer, parts), reference in zip(whole.items(), invoices, strict=True):
            self.papers.append(Paper(_day(event), "invoice", payer, parts, coins(parts)))
            self.open.setdefault(event.exam, []).append((payer, reference, parts, coins(parts)))

    def _stop(self, event: Event) -> None:
        """Withdrawn while it was still being scanned: no money."""
        taken(self.desk.operate(self.exams[event.exam].id, "withdraw", reason="Wrong animal.", by=BY))

    def _withdraw(self, event: Event) -> None:
        self._stop(event)
        for payer, _, parts, cash in self.open.pop(event.exam):
            if any(part != (0, 0) for part in parts.values()):
                self.papers.append(Paper(_day(event), "credit", payer, turned(parts), -cash))

    def _part(self, event: Event) -> None:
        """Ten of the client's first line, which is at 20 %."""
        self._credit(event, line(1, amount={"value": Decimal("10.00"), "currency": "EUR"}), {20: (-1000, -200)})

    def _sample(self, event: Event) -> None:
        """One of two samples."""
        codes = [one.code for one in reckoning.bills(self.plan[event.exam])["client"]]
        net = reckoning.LIST["sample"][0]
        tax = reckoning.rounded(reckoning.Fraction(net * 20, 100))
        self._credit(event, line(1 + codes.index("sample"), quantity=Decimal(1)), {20: (-net, -tax)})

    def _credit(self, event: Event, part: Json, parts: Rates) -> None:
        payer, reference, whole, cash = self.open[event.exam][0]
        said = orders.parameters(reason="As agreed", by=BY, invoice=reference)
        said["parameter"].append(part)
        exam = self.exams[event.exam].id
        taken(self.http.post(f"Task/{exam}/$credit", content=exact.encode(said)))
        back = -coins(turned(parts))
        self.papers.append(Paper(_day(event), "credit", payer, parts, back))
        self.open[event.exam][0] = payer, reference, reckoning.together([whole, parts]), cash + back


def _notes(plan: Planned) -> Iterator[Json]:
    """What was done besides, as the scanner's notes: each sample at a site of its own."""
    for code, times in plan.done:
        for n in range(times):
            yield note(NOTES.get(code, code), site=SITES[n] if code == "sample" else "")


def _day(event: Event) -> str:
    return f"{local(event.at):%Y-%m-%d}"
