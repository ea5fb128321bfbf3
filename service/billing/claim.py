"""A direct claim at an insurer, and what of the papers that it needs is there, into what is missing."""

from collections.abc import Iterator
from dataclasses import dataclass

from service.billing.exceptions import Found

KIND = "claim-incomplete"


@dataclass(frozen=True, slots=True)
class Vet:
    """Somebody who treated the animal; references: every one by which a history may name them."""

    name: str
    references: frozenset[str]


@dataclass(frozen=True, slots=True)
class Claim:
    """An invoice to an insurer. first: the animal's first under this cover, for which every vet's history is needed.

    histories: who wrote the clinical histories that are on record, as references; vets: everybody who is known to have
    treated the animal; waiting: names of charges of the exam that are on no invoice as yet."""

    invoice: str
    number: str
    insurer: str
    first: bool = False
    histories: frozenset[str] = frozenset()
    vets: tuple[Vet, ...] = ()
    waiting: tuple[str, ...] = ()


def incomplete(claim: Claim) -> Found | None:
    """What is missing, as an exception; None when nothing that is known to be needed is."""
    missing = tuple(_missing(claim))
    if not missing:
        return None
    words = f"The claim at {claim.insurer} by invoice {claim.number} lacks {'; '.join(missing)}."
    return Found(KIND, f"Invoice/{claim.invoice}", words, missing)


def _missing(claim: Claim) -> Iterator[str]:
    lacking = [vet.name for vet in claim.vets if not vet.references & claim.histories] if claim.first else []
    if lacking:
        yield f"the clinical history of {', '.join(lacking)}, for it is the first under this cover"
    elif not claim.histories:
        yield "the clinical history"
    if claim.waiting:
        yield f"an itemised invoice of all that was done, for {', '.join(claim.waiting)} waits"
