"""Units of work and views: what is written together is read together, and only by its organisation."""

from contextlib import suppress

import pytest

from service.basics.errors import Conflict
from service.basics.stored import Exam, StepKey
from service.store import SqlBooks
from tests.builders.records import changed, keys, new, removed, version


def test_text_comes_back_byte_by_byte(books: SqlBooks, organization: str) -> None:
    stored = version(valueQuantity={"value": "0.40", "unit": "mm"}, note="größer ≥ 0,4 \u2028")
    with books.begin(organization) as work:
        work.put([new(stored)])
        assert work.get("Observation", stored.id) == stored
    with books.view(organization) as view:
        assert view.get("Observation", stored.id) == stored
        assert view.get("Patient", stored.id) is None
        assert view.get("Observation", "unknown") is None


def test_an_error_undoes_everything(books: SqlBooks, organization: str) -> None:
    stored = version()
    with suppress(ZeroDivisionError), books.begin(organization) as work:
        work.put([new(stored, keys(1))])
        work.claim("Observation", "identifier=a|1", stored.id)
        work.save_receipt("key", "print", b"answer")
        assert work.next_invoice_number(2026) == 1
        _ = 1 // 0
    with books.begin(organization) as work:
        assert work.get("Observation", stored.id) is None
        assert work.receipt("key") is None
        assert work.claim("Observation", "identifier=a|1", "other") is None
        assert work.next_invoice_number(2026) == 1


def test_another_organisation_sees_nothing(books: SqlBooks, organization: str) -> None:
    books.add_organization(f"{organization}-other", "Another")
    stored = version()
    with books.begin(organization) as work:
        work.put([new(stored, keys(77))])
        work.save_exam(_exam("e1"))
        work.save_steps([StepKey("e1", "liver", "t1", "ready")])
        work.save_receipt("key", "print", b"answer")
        work.claim("Observation", "identifier=a|1", stored.id)
    with books.begin(f"{organization}-other") as other:
        assert other.get("Observation", stored.id) is None
        assert other.get_many([("Observation", stored.id)]) == {}
        assert other.version("Observation", stored.id, 1) is None
        assert other.history("Observation", stored.id).matches == ()
        assert other.history().matches == ()
        assert other.exam("e1") is None
        assert other.exam_of_order("order-e1") is None
        assert other.exam_of_step("t1") is None
        assert other.step_keys("e1") == ()
        assert other.receipt("key") is None
        assert other.lock_exam("e1") is None
        assert other.claim("Observation", "identifier=a|1", "mine") is None
        with pytest.raises(Conflict):
            other.put([changed(new(stored))])


def test_versions_follow_one_another(books: SqlBooks, organization: str) -> None:
    first = new(version(value=1))
    second = changed(first, value=2)
    third = changed(second, value=3)
    with books.begin(organization) as work:
        work.put([first, second])  # two versions in one call
        work.put([third])
    with books.view(organization) as view:
        assert view.get("Observation", first.new.id) == third.new
        assert [view.version("Observation", first.new.id, n) for n in (1, 2, 3)] == [first.new, second.new, third.new]
        assert view.version("Observation", first.new.id, 4) is None


@pytest.mark.parametrize("case", ["stale", "leap", "twice"])
def test_a_version_that_is_no_successor_is_refused(books: SqlBooks, organization: str, case: str) -> None:
    first = new(version(value=1))
    second = changed(first, value=2)
    with books.begin(organization) as work:
        work.put([first, second])
    wrong = {"stale": changed(first, value=9), "leap": changed(changed(second)), "twice": first}[case]
    with pytest.raises(Conflict), books.begin(organization) as work:
        work.put([new(version()), wrong])
    with books.view(organization) as view:
        assert view.get("Observation", first.new.id) == second.new
        assert len(view.history("Observation").matches) == 2


def test_a_deleted_resource_stays_as_a_version_without_a_body(books: SqlBooks, organization: str) -> None:
    first = new(version(value=1), keys(5))
    with books.begin(organization) as work:
        work.put([first])
        work.put([removed(first)])
    with books.view(organization) as view:
        gone = view.get("Observation", first.new.id)
        assert gone is not None
        assert (gone.deleted, gone.body, gone.version, gone.method) == (True, b"", 2, "DELETE")
        assert view.version("Observation", first.new.id, 1) == first.new


def test_many_at_once(books: SqlBooks, organization: str) -> None:
    records = [new(version(type_)) for type_ in ("Observation", "Media") for _ in range(600)]
    with books.begin(organization) as work:
        work.put(records)
    wanted = [(r.new.type, r.new.id) for r in records] + [("Media", "unknown")]
    with books.view(organization) as view:
        assert view.get_many(wanted) == {(r.new.type, r.new.id): r.new for r in records}


def _exam(id_: str, **changes: str) -> Exam:
    values = {"animal": "a", "procedure": "p", "service": "full", "catalogue": "h", "state": "accepted", **changes}
    return Exam(id=id_, order=f"order-{id_}", **values)


def test_the_exam_and_its_steps(books: SqlBooks, organization: str) -> None:
    steps = [new(version("Task", f"step-{n}", code=n)) for n in (1, 2, 3)]
    with books.begin(organization) as work:
        work.save_exam(_exam("exam"))
        work.put(steps)
        work.save_steps(StepKey("exam", f"code-{s.new.id}", s.new.id, "ready") for s in steps)
        work.save_steps([StepKey("exam", "code-step-2", "step-2", "completed")])
        work.save_exam(_exam("exam", state="in-progress", started="2026-03-04T05:06:07.000Z"))
        assert work.lock_exam("exam") == work.exam("exam")
    with books.view(organization) as view:
        expected = _exam("exam", state="in-progress", started="2026-03-04T05:06:07.000Z")
        assert view.exam("exam") == view.exam_of_order("order-exam") == view.exam_of_step("step-3") == expected
        assert [key.state for key in view.step_keys("exam")] == ["ready", "completed", "ready"]
        assert view.steps("exam") == tuple(s.new for s in steps)


def test_an_order_has_one_exam(books: SqlBooks, organization: str) -> None:
    with books.begin(organization) as work:
        work.save_exam(_exam("exam"))
    second = Exam(**{**{f: getattr(_exam("exam"), f) for f in Exam.__slots__}, "id": "second"})
    with pytest.raises(Conflict), books.begin(organization) as work:
        work.save_exam(second)


def test_small_things_are_kept(books: SqlBooks, organization: str) -> None:
    books.set_settings(organization, '{"zone": "UTC"}')
    with books.begin(organization) as work:
        work.save_receipt("key", "print", b"\x00answer")
        work.count_unmapped([("site", "http://a.example", "b", "B"), ("site", "http://a.example", "a", "A")])
        work.count_unmapped([("site", "http://a.example", "b", "B again")])
        work.keep_catalogue(f"hash-{organization}", "text")
        work.keep_catalogue(f"hash-{organization}", "other text")
        assert [work.next_invoice_number(y) for y in (2026, 2026, 2027)] == [1, 2, 1]
    assert books.catalogue_text(f"hash-{organization}") == "text"
    assert books.catalogue_text("unknown") is None
    with books.view(organization) as view:
        assert view.receipt("key") == ("print", b"\x00answer")
        assert view.practice_text() == '{"zone": "UTC"}'
        assert view.unmapped() == (
            ("site", "http://a.example", "b", "B again", 2),
            ("site", "http://a.example", "a", "A", 1),
        )
    with pytest.raises(Conflict), books.begin(organization) as work:
        work.save_receipt("key", "another", b"")
