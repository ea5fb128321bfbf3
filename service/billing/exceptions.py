"""What is known of an exam's money into what a bookkeeper must look at: nothing performed is forgotten in silence."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from hashlib import sha256

from service.basics.stored import Late

KINDS = (
    "exam-without-charge",
    "charge-without-exam",
    "price-missing",
    "payer-unclear",
    "profile-missing",
    "duplicate-suspected",
    "refused",
    "unacknowledged",
    "changed-after-invoicing",
    "estimate-exceeded",
    "claim-incomplete",
)
CHARGED = frozenset({"planned", "billable", "billed"})
ENDED = frozenset({"cancelled", "withdrawn"})
WAITS = "Not invoiced."  # how the note begins on a charge that waits for something
# words of the reason why it waits, where it is not for want of a price
BECAUSE: Mapping[str, str] = {"who pays": "payer-unclear", "billing profile": "profile-missing"}


@dataclass(frozen=True, slots=True)
class ExceptionRule:
    """A kind of exception: what it is called, what to do about it, and after how many minutes it is one."""

    kind: str
    title: str
    advice: str
    minutes: int = 0


@dataclass(frozen=True, slots=True)
class ChargeSeen:
    """A charge as it stands; why: the last thing noted on it; quantity: how often it was performed."""

    id: str
    code: str
    text: str
    status: str
    why: str = ""
    quantity: int = 1


@dataclass(frozen=True, slots=True)
class Found:
    """One exception. subject: Type/id of what it is about; facts: what would have to change for it to be another."""

    kind: str
    subject: str
    words: str
    facts: tuple[str, ...]

    @property
    def identity(self) -> str:
        """The same for the same facts, so that what was settled is not shown again."""
        return f"{self.subject}|{self.kind}|{sha256(chr(31).join(self.facts).encode()).hexdigest()[:16]}"


@dataclass(frozen=True, slots=True)
class ExamMoney:
    """An exam with its charges. invoice: id of its invoice, "" when there is none that stands.

    twins: ids of earlier exams of the same animal, day and scope that stand. covering: ids of full surveys of the day
    that leave nothing to charge for a fluid check. late: its posts that did not arrive.
    unlike: in words, what its records show otherwise than what was charged, looked for after an amendment only.
    billed: exceptions of what its bills come to and whom they go to. fees: codes of what is charged though it was
    cancelled."""

    exam: str
    state: str
    animal: str = ""
    invoice: str = ""
    charges: tuple[ChargeSeen, ...] = ()
    twins: tuple[str, ...] = ()
    covering: tuple[str, ...] = ()
    late: tuple[Late, ...] = ()
    unlike: tuple[str, ...] = ()
    billed: tuple[Found, ...] = ()
    fees: frozenset[str] = frozenset()


def exceptions(money: ExamMoney) -> tuple[Found, ...]:
    """All exceptions of an exam."""
    if money.state in ENDED:
        return (*_ended(money), *_undelivered(money))
    found = [*_undelivered(money)]
    if money.state == "finished":
        found += [*_forgotten(money), *_not_invoiced(money), *_twice(money), *_changed(money), *money.billed]
    return tuple(found)


def stray(charge: ChargeSeen) -> Found | None:
    """The exception of a charge that hangs on no exam; None when it has ended."""
    if charge.status not in CHARGED:
        return None
    words = f"{charge.text} is {charge.status} and hangs on no exam."
    return Found("charge-without-exam", f"ChargeItem/{charge.id}", words, (charge.status, "no exam"))


def _ended(money: ExamMoney) -> Iterator[Found]:
    fees = {c.id for c in money.charges if money.state == "cancelled" and c.code in money.fees}
    yield from _not_invoiced(replace(money, charges=tuple(c for c in money.charges if c.id in fees)))
    for charge in money.charges:
        if charge.status in CHARGED and (charge.id not in fees or charge.status == "planned"):
            words = f"{charge.text} is {charge.status}, but the exam was {money.state}."
            yield Found("charge-without-exam", f"ChargeItem/{charge.id}", words, (charge.status, money.state))


def _forgotten(money: ExamMoney) -> Iterator[Found]:
    standing = [c for c in money.charges if c.status in {"billable", "billed", "not-billable"}]
    if not standing:
        yield Found("exam-without-charge", f"Task/{money.exam}", "The exam is finished and charges nothing.", ("none",))


def _not_invoiced(money: ExamMoney) -> Iterator[Found]:
    waiting: dict[str, list[ChargeSeen]] = {}
    for charge in money.charges:
        if charge.status == "billable" and (charge.why.startswith(WAITS) or not money.invoice):
            waiting.setdefault(_because(charge.why), []).append(charge)
    for kind, charges in waiting.items():
        if kind == "price-missing":
            for one in charges:
                yield Found(kind, f"ChargeItem/{one.id}", f"{one.text}: {_said(one)}", (one.why,))
        else:
            names = ", ".join(c.text for c in charges)
            facts = tuple(sorted(c.id for c in charges))
            yield Found(kind, f"Task/{money.exam}", f"{names}: {_said(charges[0])}", facts)


def _because(why: str) -> str:
    return next((kind for words, kind in BECAUSE.items() if words in why), "price-missing")


def _said(charge: ChargeSeen) -> str:
    return charge.why.removeprefix(WAITS).strip() or "it is billable and on no invoice."


def _twice(money: ExamMoney) -> Iterator[Found]:
    if not any(c.status in {"billable", "billed"} for c in money.charges):
        return
    for ids, said in (
        (money.twins, "The animal had an exam of the same scope on the same day"),
        (money.covering, "The full survey of the same day covers this fluid check"),
    ):
        if ids:
            words = f"{said}: {', '.join(f'Task/{one}' for one in ids)}."
            yield Found("duplicate-suspected", f"Task/{money.exam}", words, tuple(sorted(ids)))


def _changed(money: ExamMoney) -> Iterator[Found]:
    if not money.invoice:
        return
    beyond = [c for c in money.charges if c.status == "billable" and not c.why.startswith(WAITS)]
    words = [f"{c.text} is billable and not on the invoice" for c in beyond] + list(money.unlike)
    if words:
        facts = (money.invoice, *sorted(c.id for c in beyond), *money.unlike)
        yield Found("changed-after-invoicing", f"Invoice/{money.invoice}", f"{'; '.join(words)}.", facts)


def unlike(charges: Iterable[ChargeSeen], shown: Mapping[str, tuple[str, int]], known: Iterable[str]) -> list[str]:
    """In words, where the records now show otherwise than was charged.

    shown: what they show, text and times by code of the charge; known: the codes that records can show or not."""
    standing = {c.code: c for c in charges if c.status in {"billable", "billed", "not-billable"}}
    words = [f"{text} is recorded and was not charged" for code, (text, _) in shown.items() if code not in standing]
    for code in known:
        charge = standing.get(code)
        if charge is None or charge.status == "not-billable":
            continue
        times = shown[code][1] if code in shown else 0
        if not times:
            words.append(f"{charge.text} was charged and is no longer recorded")
        elif times != charge.quantity:
            words.append(f"{charge.text} was charged {charge.quantity} times and is recorded {times} times")
    return words


def _undelivered(money: ExamMoney) -> Iterator[Found]:
    for post in money.late:
        if post.state == "dead":
            words = f"{post.destination} refused what was sent of the exam ({post.event}), {post.since}."
            yield Found("refused", f"Task/{money.exam}", words, (post.id, post.since))
        else:
            words = f"{post.destination} has not acknowledged what was sent of the exam ({post.event}) at {post.made}."
            yield Found("unacknowledged", f"Task/{money.exam}", words, (post.id, post.made))
