"""The series of invoice numbers: whatever is missing, doubled or was never given out is told."""

from hypothesis import given
from hypothesis import strategies as st

from service.billing.numbers import series

YEARS = st.integers(2024, 2026)


def test_a_series_without_a_gap_is_sound_in_any_order() -> None:
    (one,) = series([(2026, n) for n in (3, 1, 2)], {2026: 3})
    assert (one.year, one.count, one.first, one.last, one.drawn, one.sound) == (2026, 3, 1, 3, 3, True)
    assert series([], {}) == series([], {2026: 0}) == []


def test_each_kind_of_fault_is_told() -> None:
    (one,) = series([(2026, n) for n in (2, 3, 3, 6, 9)], {2026: 8})
    assert one.gaps == ((1, 1), (4, 5), (7, 8))
    assert one.twice == (3,)
    assert one.beyond == (9,)
    (lost,) = series([], {2025: 2})  # all that was given out is gone
    assert (lost.gaps, lost.count, lost.sound) == (((1, 2),), 0, False)
    (foreign,) = series([(2024, 1)], {})
    assert (foreign.beyond, foreign.gaps) == ((1,), ())


@given(st.dictionaries(YEARS, st.sets(st.integers(1, 60), min_size=1)), st.data())
def test_what_is_there_and_what_is_missing_are_all_there_is(years: dict[int, set[int]], data: st.DataObject) -> None:
    drawn = {year: data.draw(st.integers(max(there), 70)) for year, there in years.items()}
    mixed = data.draw(st.permutations([(year, n) for year, there in years.items() for n in there]))
    found = series(mixed, drawn)
    assert [one.year for one in found] == sorted(years)
    for one in found:
        missing = {n for first, last in one.gaps for n in range(first, last + 1)}
        assert missing | years[one.year] == set(range(1, drawn[one.year] + 1))
        assert not missing & years[one.year]
        assert one.sound == (not missing)
