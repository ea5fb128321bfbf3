"""What holds of every step whatever happens to it, tried with sequences that nobody would think of."""

from dataclasses import replace
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from service.exam.act import Act
from service.exam.animal import Animal
from service.exam.entries import disposition, items, kind, live, take_back
from service.exam.noted import asked
from service.exam.order import Order
from service.exam.owed import owed
from service.exam.protocol import rule_of
from service.exam.settle import decide
from service.exam.survey import Entry, Step
from service.exam.survey_state import note, retract, state
from service.fhir.reading.task import read_basis, read_step
from service.fhir.writing.task import exam_task, step_task, update_step
from tests.builders.survey import mappings

ROWS = mappings()
CODES = (
    "kidney_left",
    "gallbladder",
    "hepatic_lymph_nodes",
    "adrenal_right",
    "peritoneum",
    "common_bile_duct",
    "uterus",
)
TIMES = [f"2026-11-25T10:{m:02}:00Z" for m in range(0, 60, 7)] + ["2026-11-25", ""]
WORDS = st.sampled_from(["", "short word", "Größe; 1 < 2"])


def step(code: str) -> Step:
    rule = rule_of(ROWS.protocols["dog"], code)
    assert rule is not None
    return Step("t1", rule)


def attributes(one: Step) -> Any:
    return ROWS.vocabularies[ROWS.structures[one.rule.structure].vocabulary]


def sent(one: Step) -> st.SearchStrategy[Entry]:
    rule = one.rule
    things = [("still", ""), ("clip", ""), *((f"plane:{p}", "") for p in rule.planes)]
    things += [(f"measure:{m}", "") for m in rule.measures]
    things += [(f"finding:{a.key}", v.code) for a in attributes(one) for v in a.values]
    return st.builds(
        lambda thing, source, at: Entry(thing[0], f"Observation/{source}", at, "", thing[1]),
        st.sampled_from(things),
        st.integers(1, 9),
        st.sampled_from(TIMES),
    )


def acts() -> st.SearchStrategy[Act]:
    return st.builds(
        Act,
        key=st.uuids().map(str),
        at=st.sampled_from(TIMES[:-2]),
        by=st.just("Dr. Invented"),
        disposition=st.sampled_from(
            ["seen", "seen-part", "not-seen", "absent-surgical", "absent-unexplained", "deferred"]
        ),
        reason=st.sampled_from(["gas", "obesity", ""]),
        detail=WORDS,
        operation=WORDS,
        station=st.sampled_from([None, 7]),
        planes=st.sampled_from([(), ("long",), ("long", "short")]),
        retract=st.booleans(),
        timed=st.booleans(),
    )


def act_on(one: Step, act: Act) -> Step:
    done = decide(one, act, attributes=attributes(one), reasons=ROWS.reasons)
    return one if done.faults else note(take_back(one, done.ended), [m.entry for m in done.made])


@st.composite
def histories(draw: st.DrawFn) -> Step:
    """A step after up to twelve things sent, acts, and things withdrawn."""
    one = step(draw(st.sampled_from(CODES)))
    for _ in range(draw(st.integers(0, 12))):
        what = draw(st.sampled_from(["sent", "sent", "act", "withdrawn"]))
        if what == "sent":
            one = note(one, [draw(sent(one))])
        elif what == "act":
            one = act_on(one, draw(acts()))
        else:
            one = retract(one, f"Observation/{draw(st.integers(1, 9))}")
    return one


@settings(max_examples=150, deadline=None)
@given(histories())
def test_nothing_is_normal_by_silence(one: Step) -> None:
    missing = owed(one, attributes(one))
    status, business = state(one, missing)
    if status != "completed":
        return
    assert not missing
    said = kind(disposition(one))
    if said in {"not-seen", "absent-surgical", "absent-unexplained"}:
        assert business == said
        return
    found = items(one)
    for attribute in asked(one, attributes(one)):
        assert {f"finding:{attribute.key}", f"excused:finding:{attribute.key}"} & found
    if said in {"", "seen"}:
        assert all(f"plane:{p}" in found for p in one.rule.planes)
        assert all(f"measure:{m}" in found for m in one.rule.measures)
    assert not any(i.startswith("excused:finding") for i in found) or said == "seen-part" or business == "seen-part"


@settings(max_examples=150, deadline=None)
@given(histories())
def test_every_default_rests_on_an_act_that_says_it_was_seen(one: Step) -> None:
    acts_of_sight = {e.act for e in live(one) if e.item in {"disposition:seen", "disposition:seen-part"}}
    for entry in live(one):
        if entry.item.startswith("finding:") and entry.act:
            assert entry.act in acts_of_sight
            assert kind(disposition(one)) in {"seen", "seen-part"}


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_evidence_in_any_order_and_twice_comes_to_the_same(data: st.DataObject) -> None:
    one = step(data.draw(st.sampled_from(CODES)))
    things = data.draw(st.lists(sent(one), max_size=8))
    shuffled = data.draw(st.permutations(things))
    first, second = note(one, things), note(one, [*shuffled, *things])
    assert set(owed(first, attributes(one))) == set(owed(second, attributes(one)))
    assert state(first, owed(first, attributes(one))) == state(second, owed(second, attributes(one)))
    assert note(first, things) == first


@settings(max_examples=100, deadline=None)
@given(histories(), acts())
def test_an_act_and_its_taking_back_leave_what_was_before(one: Step, act: Act) -> None:
    act = replace(act, retract=False)
    after = act_on(one, act)
    last = [e for e in live(after) if e.act == act.key]
    if not any(e.item.startswith("disposition:") for e in last):
        return
    back = act_on(after, replace(act, key="back", retract=True))
    assert not any(e.act == act.key for e in live(back))
    assert {e.source for e in live(one) if not e.act} == {e.source for e in live(back) if not e.act}


@settings(max_examples=100, deadline=None)
@given(histories())
def test_all_taken_back_is_as_if_never_begun_and_the_history_stays(one: Step) -> None:
    gone = one
    for source in {e.source for e in one.entries}:
        gone = retract(gone, source) if source else gone
    gone = take_back(gone, live(gone))
    fresh = step(one.rule.code)
    assert state(gone, owed(gone, attributes(gone))) == state(fresh, owed(fresh, attributes(fresh)))
    assert len(gone.entries) == len(one.entries)


@settings(max_examples=100, deadline=None)
@given(histories())
def test_a_step_and_its_task_are_the_same(one: Step) -> None:
    missing = owed(one, attributes(one))
    task = step_task(
        one, missing, state=state(one, missing), exam_id="e", order_id="o", animal_id="a", now="2026-11-25T10:00:00Z"
    )
    assert read_step(task, ROWS.protocols["dog"]) == one
    again = update_step(task, one, owed=missing, state=state(one, missing), now="2026-11-25T10:00:00Z")
    assert again == task
    assert [(i["type"]["coding"][0]["code"], i["type"]["text"]) for i in task.get("input", [])] == [
        (o.item, o.text) for o in missing
    ]


def test_the_basis_of_an_exam_and_its_task_are_the_same() -> None:
    from_order = _order()
    animal, service, structures = read_basis(exam_task("e", from_order, now="2026-11-25T10:00:00Z"))
    assert animal == from_order.animal
    assert (service, structures) == ("limited", ("liver_left", "spleen"))


def _order() -> Order:
    animal = Animal(id="a", species="cat", sex="male", neutered=False, scrotal_testes=0, pregnant=None)
    return Order(id="o", animal=animal, service=ROWS.services["limited"], structures=("liver_left", "spleen"))
