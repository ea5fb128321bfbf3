"""Histories: every version once, the newest first, over any number of pages."""

from dataclasses import replace

import pytest

from service.basics.errors import Invalid
from service.basics.query import Page
from service.store import SqlBooks
from service.store.instants import micros_of
from service.store.view import SqlView
from tests.builders.records import changed, new, removed, version


def _fill(books: SqlBooks, organization: str) -> list[tuple[str, int]]:
    """Three resources of two types with three versions each; the newest first."""
    made = []
    for n, type_ in enumerate(("Patient", "Observation", "Patient")):
        first = new(version(type_, f"{n}", updated=f"2026-03-04T05:06:0{n}.000Z"))
        second = changed(first)
        with books.begin(organization) as work:
            work.put([first, second])
            work.put([removed(second)])
        made += [(f"{n}", number) for number in (1, 2, 3)]
    return made[::-1]


def _walk(view: SqlView, *, count: int, **of: str) -> list[tuple[str, int]]:
    found: list[tuple[str, int]] = []
    page = Page((), None, "")
    while True:
        page = view.history(**of, count=count, after=page.after)
        found += [(v.id, v.version) for v in page.matches]
        if not page.after:
            return found


@pytest.mark.parametrize("count", [1, 2, 3, 100])
def test_everything_comes_once_and_in_order(books: SqlBooks, organization: str, count: int) -> None:
    made = _fill(books, organization)
    with books.view(organization) as view:
        assert _walk(view, count=count) == made
        assert _walk(view, count=count, type_="Patient") == [(i, n) for i, n in made if i != "1"]
        assert _walk(view, count=count, type_="Patient", id_="2") == [("2", 3), ("2", 2), ("2", 1)]
        assert _walk(view, count=count, type_="Media") == []
        assert _walk(view, count=count, type_="Observation", id_="2") == []


def test_the_history_of_one_says_how_many_and_what_was_done(books: SqlBooks, organization: str) -> None:
    _fill(books, organization)
    with books.view(organization) as view:
        page = view.history("Patient", "2", count=2)
    assert page.total == 3
    assert [v.method for v in page.matches] == ["DELETE", "PUT"]
    assert [v.deleted for v in page.matches] == [True, False]


def test_since(books: SqlBooks, organization: str) -> None:
    _fill(books, organization)
    with books.view(organization) as view:
        late = view.history(since="2026-03-04T06:06:01.000+01:00").matches
        assert {v.id for v in late} == {"1", "2"}
        assert view.history("Patient", "0", since="2026-03-04T05:06:00.001Z").matches == ()


@pytest.mark.parametrize("since", ["yesterday", "2026-03-04T05:06:00", "2026-13-01T00:00:00Z"])
def test_a_bad_instant_or_position_is_refused(books: SqlBooks, organization: str, since: str) -> None:
    with books.view(organization) as view:
        with pytest.raises(Invalid):
            view.history(since=since)
        with pytest.raises(Invalid):
            view.history("Patient", after=since)


def test_at_finds_what_was_current_then(books: SqlBooks, organization: str) -> None:
    first = new(version("Patient", "1", updated="2026-03-04T05:06:00.000Z"))
    second = changed(first)
    second = replace(second, new=replace(second.new, updated="2026-03-04T05:06:01.000Z"))
    with books.begin(organization) as work:
        work.put([first])
    with books.begin(organization) as work:
        work.put([second])
    old, late = (micros_of(one.new.updated) for one in (first, second))
    with books.view(organization) as view:
        for at, expected in [
            ((None, None), [2, 1]),
            ((old, old), [1]),
            ((old - 9, old - 1), []),
            ((late - 1, late - 1), [1]),
            ((late - 1, late), [2, 1]),
            ((late, None), [2]),
            ((None, late - 1), [1]),
        ]:
            assert [v.version for v in view.history("Patient", "1", at=at).matches] == expected, at
            assert [v.version for v in view.history(at=at).matches] == expected, at
