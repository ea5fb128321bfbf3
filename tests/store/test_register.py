"""What an operator keeps: added, found, and kept apart by organisation."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from service.basics.access import Grant
from service.basics.errors import Conflict
from service.store import SqlBooks


def test_organisations(books: SqlBooks, organization: str) -> None:
    assert not books.add_organization(organization, "Again", "clinic")
    found = books.organization(organization)
    assert found is not None
    assert (found.slug, found.kind, found.settings) == (organization, "practice", "")
    assert books.set_settings(organization, "{}")
    assert not books.set_settings("unknown", "{}")
    assert found.slug in {o.slug for o in books.organizations()}
    assert books.organization("unknown") is None
    with pytest.raises(ValueError, match="practice"):
        books.add_organization("x", "X", "hospital")


def test_tokens(books: SqlBooks, organization: str) -> None:
    hash_ = f"hash of {organization}"
    books.add_token(hash_, organization, scopes=("system/*.read", "system/Task.u"), label="front desk")
    found = books.token(hash_)
    assert found is not None
    assert (found.organization, found.kind, found.label) == (organization, "practice", "front desk")
    assert found.scopes == ("system/*.read", "system/Task.u")
    with pytest.raises(Conflict):
        books.add_token(hash_, "another", scopes=(), label="")
    assert not books.revoke_token("another", hash_)
    assert books.token(hash_) == found
    assert books.revoke_token(organization, hash_)
    assert books.token(hash_) is None
    assert books.token("unknown") is None


def test_an_assertion_is_used_once_and_its_token_ends(books: SqlBooks, organization: str) -> None:
    now = datetime.now(UTC)
    hour, past = now + timedelta(hours=1), now - timedelta(seconds=1)
    grants = [Grant(f"{organization} {n}", organization, ("system/*.r",), "a program", client="c") for n in range(3)]
    assert books.exchange(organization, grants[0], used_until=hour, until=hour)
    assert not books.exchange(organization, grants[1], used_until=hour, until=hour)
    assert books.exchange(f"{organization} 2", grants[2], used_until=hour, until=past)
    assert [books.token(one.hash) is not None for one in grants] == [True, False, False]
    assert [one.hash for one in books.tokens(organization)] == [grants[0].hash]
    # what is remembered of an assertion is forgotten only when its time is over
    assert books.exchange(f"{organization} 3", replace(grants[1], hash="3"), used_until=past, until=hour)
    assert books.exchange(f"{organization} 3", replace(grants[1], hash=organization), used_until=hour, until=hour)
    assert not books.exchange(organization, replace(grants[1], hash="5"), used_until=hour, until=hour)


def test_destinations(books: SqlBooks, organization: str) -> None:
    assert books.add_destination(organization, "b", url="https://b.example/fhir", authorization="Basic s3cret")
    assert not books.add_destination(organization, "b", url="https://elsewhere.example")
    assert books.add_destination(organization, "a", url="https://a.example/fhir")
    assert [d.name for d in books.destinations(organization)] == ["a", "b"]
    assert books.destinations("another") == ()
    assert books.destination("another", "b") is None
    found = books.destination(organization, "b")
    assert found is not None
    assert (found.url, found.authorization, found.active) == ("https://b.example/fhir", "Basic s3cret", True)
    assert "s3cret" not in repr(found)
    assert books.switch_destination(organization, "a", active=False, why="moved")
    assert not books.switch_destination("another", "a", active=False)
    with books.view(organization) as view:
        assert [name for name, _ in view.routes()] == ["b"]
