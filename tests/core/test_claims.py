"""What a direct claim lacks, by what insurers ask for (ABI and insurers' pages: full history, itemised bill): B26."""

from dataclasses import replace
from typing import Any

import pytest

from service.billing.authorisation import ADMINISTRATION, Authorisation
from service.billing.claim import Claim, Vet, incomplete

CLAIM = Claim("i-1", "2026-000007", "Invented Mutual", histories=frozenset({"Organization/own"}))
OWN, OTHER = Vet("Own Practice", frozenset({"Organization/own"})), Vet("Dr A", frozenset({"PractitionerRole/a"}))


def lacks(**changes: Any) -> str:
    found = incomplete(replace(CLAIM, **changes))
    return found.words.partition(" lacks ")[2] if found else ""


def test_b26_a_claim_with_its_history_and_nothing_waiting_lacks_nothing() -> None:
    assert lacks() == ""
    assert lacks(first=True, vets=(OWN,)) == ""
    assert lacks(vets=(OWN, OTHER)) == ""  # every vet's history is asked for with the first claim only


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"histories": frozenset()}, "the clinical history."),
        ({"histories": frozenset(), "first": True}, "the clinical history."),
        (
            {"first": True, "vets": (OWN, OTHER)},
            "the clinical history of Dr A, for it is the first under this cover.",
        ),
        ({"waiting": ("Sedation",)}, "an itemised invoice of all that was done, for Sedation waits."),
    ],
)
def test_b26_what_is_missing_is_named(changes: dict[str, Any], words: str) -> None:
    assert lacks(**changes) == words


def test_b26_it_is_another_exception_when_something_else_is_missing() -> None:
    one, other = (incomplete(replace(CLAIM, waiting=(name,))) for name in ("Sedation", "Doppler"))
    assert one is not None
    assert other is not None
    assert one.identity != other.identity
    assert (one.kind, one.subject) == ("claim-incomplete", "Invoice/i-1")


def test_making_the_claim_is_the_clients_unless_the_insurer_says_otherwise() -> None:
    assert not Authorisation("PA-1").names(ADMINISTRATION)
    assert Authorisation("PA-1", scope=(ADMINISTRATION,)).names(ADMINISTRATION)
