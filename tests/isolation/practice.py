"""What a practice keeps: all types that it takes as they are, and exams on their way, a canary in each text."""

from collections.abc import Mapping
from typing import Any

from service.actions import import_tariff
from service.actions.billing_check import check
from service.fhir import exact, uris
from service.fhir.definitions import Definitions
from tests.builders import orders
from tests.builders.bills import house
from tests.builders.counter import Counter, note
from tests.builders.orders import concept
from tests.builders.tariff_rows import row, tariff
from tests.isolation.canaries import Canaries
from tests.isolation.records import KEPT, Marked, without_id

Json = dict[str, Any]
FIRST = ("Organization", "Practitioner", "PractitionerRole", "Location", "Endpoint", "Device", "Patient")


class Story(Counter):
    """A practice at work; whatever it says bears canaries."""

    canaries: Canaries

    def post(self, resource: Json, where: str = "") -> Json:
        return super().post(self.canaries.marked(resource), where)

    def say(self, task: str, operation: str, **said: Any) -> Json:
        """Call an operation with canaries in its words."""
        answer = self.operate(task, operation, **{name: self._said(value) for name, value in said.items()})
        assert answer.is_success, (operation, answer.text)
        found: Json = exact.decode(answer.content)
        return found

    def _said(self, value: Any) -> Any:
        return self.canaries.word() if value is ... else value

    def keep_all(self, definitions: Definitions, turn: int) -> set[str]:
        """Post a whole resource of every type; the types that the rules of a practice refuse."""
        links: dict[str, str] = {}
        refused = set()
        for type_ in (*FIRST, *(one for one in KEPT if one not in FIRST)):
            made = Marked(definitions, turn, canaries=self.canaries, links=links).resource(type_)
            answer = self.http.post(f"/fhir/{type_}", content=exact.encode(_plain(made)))
            if answer.status_code == 201:
                links[type_] = answer.headers["location"].partition("/fhir/")[2].partition("/_history")[0]
            else:
                assert answer.status_code < 500, answer.text
                refused.add(type_)
        return refused

    def subscribe(self) -> None:
        """A Subscription that no courier ever carries."""
        channel = {"type": "rest-hook", "endpoint": "https://93.184.216.34/hook", "payload": "application/fhir+json"}
        self.post(
            {
                "resourceType": "Subscription",
                "status": "requested",
                "reason": self.canaries.word(),
                "criteria": f"Observation?code={self.canaries.word()}",
                "channel": channel,
            }
        )

    def own_prices(self) -> None:
        """A price of its own, which its price list shows; and a destination that nothing is ever carried to."""
        word, books = self.canaries.word(), house(self.books)
        rows = tariff(row("fluid-check", amount="51.30", kind="exam", text=word, valid_from="2026-11-01"))
        change = import_tariff.plan(books, self.slug, name="prices.csv", given=rows.replace(",*,", ",,"))
        import_tariff.keep(books, self.slug, change, by=self.canaries.word())
        assert word in self.http.get("/fhir/ChargeItemDefinition?_count=500").text
        there = f"https://{self.canaries.word()}.example/fhir"
        self.books.add_destination(self.slug, self.canaries.word(), url=there, authorization=self.canaries.word())

    def open_exam(self) -> str:
        """An exam under way, with a preliminary report and an urgent finding that is being told."""
        request, exam, animal = self.order(service="limited", bodySite=[concept(uris.STRUCTURE, "spleen")])
        word = self.canaries.word()
        told = {"resourceType": "Observation", "status": "preliminary", "code": {"text": word}, "valueString": word}
        about = {"basedOn": [{"reference": f"ServiceRequest/{request}"}], "subject": {"reference": f"Patient/{animal}"}}
        self.post(told | about | {"note": [{"text": word}]})
        self.say(exam, "preliminary", interpreter=..., conclusion=...)
        decided = self.say(exam, "urgent", finding="other", by=..., tier=1, words=...)
        task = next(p["valueReference"]["reference"] for p in decided["parameter"] if p["name"] == "task")
        said = {"by": ..., "to": ..., "method": "voice", "at": "2026-11-25T10:30:00Z", "outcome": ...}
        self.say(task.partition("/")[2], "urgent-attempt", **said)
        return exam

    def finished_exams(self) -> tuple[str, str]:
        """An exam that was reported, billed, credited and amended, and one that was withdrawn."""
        exam, _ = self.finished(note("sample", site="spleen", note=[{"text": self.canaries.word()}]), interpreter="R")
        self.say(exam, "amend", status="corrected", reason=..., by=..., major=False, conclusion=...)
        self.say(exam, "credit", reason=..., by=...)
        other, _ = self.finished()
        self.say(other, "withdraw", reason=..., by=...)
        return exam, other

    def look_for_exceptions(self) -> None:
        """Let the practice's exceptions of billing be found."""
        check(house(self.books), self.slug)


def _plain(value: Any) -> Any:
    """A resource without what a practice never takes, and the animal that it wants."""
    if isinstance(value, list):
        return [_plain(one) for one in value]
    if not isinstance(value, Mapping):
        return value
    made = {name: _plain(one) for name, one in value.items() if name != "modifierExtension"}
    if made.get("resourceType") == "Patient":
        made["extension"] = [*made.get("extension", []), *orders.patient()["extension"]]
    return without_id(made) if "resourceType" in made and made["resourceType"] != "Basic" else made
