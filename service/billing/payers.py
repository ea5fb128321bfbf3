"""Priced lines and what is known of who pays into the bill of each payer: exactly one payer a line."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from service.billing.authorisation import ADMINISTRATION, Authorisation
from service.billing.exam_facts import ExamFacts
from service.billing.invoice import Line, Payer
from service.billing.pricing import Owed

CLIENT, INSURER, REQUESTER = "client", "insurer", "requester"


@dataclass(frozen=True, slots=True)
class Bill:
    """What one payer is to pay; kind: client, insurer or requester. cover: the insurer's, as a reference."""

    kind: str
    payer: Payer
    lines: tuple[Line, ...]
    cover: str = ""


def bills(lines: Iterable[Owed], facts: ExamFacts, *, day: date | None, rounding: str) -> list[Bill]:
    """The bills in the order in which payers first appear. day: the practice's own, of the exam.

    What an insurer has authorised he pays, line by line as long as it holds; what he does not falls back to the client,
    with the reason on the line."""
    sharing = _Sharing(facts, day, rounding)
    for owed in lines:
        sharing.add(owed)
    return sharing.bills()


@dataclass(slots=True)
class _Sharing:
    facts: ExamFacts
    day: date | None
    rounding: str
    found: dict[Payer, list[Line]] = field(default_factory=dict)
    kinds: dict[Payer, str] = field(default_factory=dict)
    insured: dict[str, list[Line]] = field(default_factory=dict)  # lines by the number of their authorisation

    def add(self, owed: Owed) -> None:
        if owed.payer == REQUESTER:
            self._put(REQUESTER, owed.line)
            return
        used, why = self._authorised(owed.line)
        if used is not None:
            self.insured.setdefault(used.number, []).append(owed.line)
            self._put(INSURER, replace(owed.line, authorisation=used.number))
        elif owed.payer == INSURER and not why and self.facts.insurer:
            self._put(INSURER, owed.line)
        else:
            self._put(CLIENT, replace(owed.line, payer_reason=why) if why else owed.line)

    def bills(self) -> list[Bill]:
        cover = self.facts.insurance.cover
        return [
            Bill(kind, payer, tuple(self.found[payer]), cover if kind == INSURER else "")
            for payer, kind in self.kinds.items()
        ]

    def _put(self, kind: str, line: Line) -> None:
        facts = self.facts
        payer = {
            CLIENT: Payer(facts.owner, facts.owner_name),
            INSURER: Payer(facts.insurer, facts.insurer_name),
            REQUESTER: Payer(facts.requester, facts.requester_name),
        }[kind]
        self.kinds.setdefault(payer, kind)
        self.found.setdefault(payer, []).append(line)

    def _authorised(self, line: Line) -> tuple[Authorisation | None, str]:
        """(the authorisation under which the insurer pays a line, "") or (None, why he does not, where one hoped)."""
        held = self.facts.insurance
        if not held.authorisations or self.day is None or not self.facts.insurer:
            return None, held.hindrance if held.expected else ""
        names = [one for one in held.authorisations if one.names(line.code)]
        if not names and line.code == ADMINISTRATION:
            return None, ""  # nobody hoped that an insurer pays for being asked
        if not names:
            numbers = ", ".join(one.number for one in held.authorisations)
            return None, f"Pre-authorisation {numbers} does not name {line.code}."
        valid = [one for one in names if not one.out(self.day)]
        if not valid:
            return None, " ".join(one.out(self.day) for one in names)
        if len(valid) > 1:
            return None, f"{_listed(valid)} all hold for {line.code}; which is meant is not said."
        why = valid[0].exceeded([*self.insured.get(valid[0].number, ()), line], self.rounding)
        return (None, why) if why else (valid[0], "")


def _listed(held: Sequence[Authorisation]) -> str:
    return "Pre-authorisations " + ", ".join(one.number for one in held)
