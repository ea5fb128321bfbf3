"""What a clinic and a hospital agreed on about referrals, as a frozen value that says what is wrong with it."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

PREFIX = "referral/"  # of the name of a destination that leads to the other side of an agreement
IN_HOUSE = "in-house"  # form of a post whose other side is an organisation of this very service
REFERRAL, ANIMAL = "referral", "referral-animal"  # kinds of Task: one referral, and which animal it is about
BILLED = ("client", "clinic")
SHARED = ("report", "charges", "images")


@dataclass(frozen=True, slots=True)
class Agreement:
    """clinic: slug of an organisation here, or "" for one elsewhere, whose token or client bears the name `client`.

    hospital: a slug; services: keys of mappings/services.csv, all when empty; bills: whom the hospital bills; shares:
    of SHARED, beside status and what is urgent; consent: nothing is sent without the owner's; starts and ends: days,
    both within, "" for open; contacts: who at the clinic is told when nobody answers, in this order."""

    id: str
    hospital: str
    clinic: str = ""
    client: str = ""
    title: str = ""  # the clinic's name in words
    services: tuple[str, ...] = ()
    bills: str = "client"
    shares: tuple[str, ...] = ("report", "images")
    consent: bool = False
    starts: str = ""
    ends: str = ""
    contacts: tuple[str, ...] = ()
    made: str = ""
    by: str = ""

    @property
    def party(self) -> str:
        """Whom it is with, as seen from the hospital."""
        return self.clinic or self.client

    def holds(self, day: str) -> bool:
        """Whether it holds on a day such as 2026-11-25."""
        return (not self.starts or self.starts <= day) and (not self.ends or day <= self.ends)

    def covers(self, service: str) -> bool:
        """Whether a service may be ordered under it."""
        return not self.services or service in self.services


def faults(given: Agreement, *, services: Collection[str]) -> list[str]:
    """What is wrong with an agreement, a sentence for each. services: keys of what can be ordered."""
    found = []
    if bool(given.clinic) == bool(given.client):
        found.append("the clinic is either an organisation here (--clinic) or known by its token's name (--client)")
    if given.clinic and given.clinic == given.hospital:
        found.append("clinic and hospital are the same organisation")
    if given.bills not in BILLED:
        found.append(f"the hospital bills {' or '.join(BILLED)}; not {given.bills}")
    strange = sorted(set(given.shares) - set(SHARED))
    if strange:
        found.append(f"what is shared is some of {', '.join(SHARED)}; not {', '.join(strange)}")
    unknown = sorted(set(given.services) - set(services))
    if unknown:
        found.append(f"services are some of {', '.join(sorted(services))}; not {', '.join(unknown)}")
    found += [
        f"{text} is no day such as 2026-11-25" for text in (given.starts, given.ends) if text and not _is_day(text)
    ]
    if given.starts and given.ends and given.ends < given.starts:
        found.append("it ends before it starts")
    return found


def _is_day(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False
