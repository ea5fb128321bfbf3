"""What an operator keeps: added, found, and kept apart by organisation."""

import pytest

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
        assert view.destinations() == ("b",)
