"""Different acts on one exam at the same time: each is taken whole or refused, and what is stored fits together."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest

from service.fhir import exact
from tests.builders.orders import parameters
from tests.builders.survey import entered
from tests.whole.telling import Desk, Exam, coded, decoded, only, refusal, result, taken

pytestmark = pytest.mark.sqlite_first

SIGNED = {"interpreter": "Dr I. Reader", "conclusion": "No abnormality seen."}
Act = Callable[[httpx.Client], httpx.Response]


def meet(desk: Desk, *acts: Act) -> list[httpx.Response]:
    """The answers to acts that begin at one time, each of a client of its own."""

    def one(act: Act) -> httpx.Response:
        with desk.instance.client(desk.http.headers["Authorization"][7:], judged=False) as client:
            return act(client)

    with ThreadPoolExecutor(len(acts)) as callers:
        return list(callers.map(one, acts))


def posting(resource: dict[str, object]) -> Act:
    body = exact.encode(resource)
    return lambda client: client.post(str(resource["resourceType"]), content=body)


def operating(exam: Exam, name: str, **said: str) -> Act:
    body = exact.encode(parameters(said))
    return lambda client: client.post(f"Task/{exam.id}/${name}", content=body)


def test_evidence_of_one_step_from_twenty_scanners_is_all_on_its_task(desk: Desk) -> None:
    exam = desk.place()
    depths = [f"{n}.0" for n in range(1, 21)]
    answers = meet(desk, *(posting(exam.scanner.measured("spleen", "thickness", d)) for d in depths))
    assert {a.status_code for a in answers} == {201}
    task = desk.steps(exam)["spleen"]
    rests = {o["valueReference"]["reference"] for o in task["output"] if "valueReference" in o}
    assert rests == {f"Observation/{decoded(a)['id']}" for a in answers}
    assert entered(task).count("measure:thickness") == 20


def test_evidence_that_meets_the_finish_is_in_the_report_or_refused(desk: Desk) -> None:
    for _ in range(4):
        exam = desk.place(service="fluid-check")
        desk.survey(exam)
        late = [posting(exam.scanner.measured("peritoneum", "pocket-depth", f"{n}.5")) for n in range(1, 6)]
        finished, *others = meet(desk, operating(exam, "finish", **SIGNED), *late)
        assert finished.status_code == 200, finished.text
        assert {a.status_code for a in others} <= {201, 409}
        report = desk.get(result(finished)["report"])
        stored = desk.search("Observation", **{"based-on": f"ServiceRequest/{exam.order}"})
        assert {f"Observation/{o['id']}" for o in stored} == {r["reference"] for r in report["result"]}
        assert {o["status"] for o in stored} == {"final"}


def test_a_revocation_that_meets_the_first_evidence_leaves_one_of_them(desk: Desk) -> None:
    outcomes = set()
    for _ in range(6):
        exam = desk.place(service="fluid-check")
        order = exact.encode(desk.get(f"ServiceRequest/{exam.order}") | {"status": "revoked"})
        path = f"ServiceRequest/{exam.order}"

        def revoke(client: httpx.Client, path: str = path, order: bytes = order) -> httpx.Response:
            return client.put(path, content=order)

        revoked, noted = meet(desk, revoke, posting(exam.scanner.shown("peritoneum", "multi")))
        outcomes.add((revoked.status_code, noted.status_code))
        begun = noted.status_code == 201
        assert (revoked.status_code, noted.status_code) in {(200, 409), (409, 201)}
        assert desk.get(f"Task/{exam.id}")["status"] == ("in-progress" if begun else "cancelled")
        assert len(desk.search("Media", **{"based-on": f"ServiceRequest/{exam.order}"})) == begun
    assert outcomes


def test_amendments_that_meet_are_versions_one_after_another(desk: Desk) -> None:
    exam = desk.place(service="fluid-check")
    desk.survey(exam)
    report = desk.finish(exam)["report"]
    said = {"status": "appended", "reason": "Another thought.", "by": "Dr I. Reader"}
    answers = meet(desk, *(operating(exam, "amend", **said, conclusion=f"Thought {n}.") for n in range(6)))
    assert {a.status_code for a in answers} == {200}
    assert sorted(int(result(a)["version"][0]) for a in answers) == [2, 3, 4, 5, 6, 7]
    final = desk.get(report)
    assert final["meta"]["versionId"] == "7"
    assert all(f"Thought {n}." in final["conclusion"] for n in range(6))
    posts = desk.instance.books.deliveries(desk.slug)
    assert len({p.key for p in posts}) == len(posts) == 7


def test_an_amendment_that_meets_the_withdrawal_never_comes_after_it(desk: Desk) -> None:
    exam = desk.place(service="fluid-check")
    desk.survey(exam)
    report = desk.finish(exam)["report"]
    said = {"status": "amended", "major": False, "reason": "Another thought.", "by": "Dr I. Reader", "conclusion": "x"}
    withdrawn, amended = meet(
        desk,
        operating(exam, "withdraw", reason="Wrong animal.", by="Dr I. Reader"),
        operating(exam, "amend", **said),
    )
    assert (withdrawn.status_code, amended.status_code) in {(200, 200), (200, 409)}
    assert desk.get(report)["status"] == "entered-in-error"
    assert sum(i["totalGross"]["value"] for i in desk.search("Invoice")) == 0


@pytest.mark.parametrize("wrong", range(4))
def test_one_bad_entry_leaves_no_trace_of_the_others(desk: Desk, wrong: int) -> None:
    """At each place of a transaction of evidence."""
    exam = desk.place(service="fluid-check")
    good = [exam.scanner.measured("peritoneum", "pocket-depth", f"{n}.5") for n in range(4)]
    kinds = ("Observation", "Task", "AuditEvent")
    before, task = desk.counts(*kinds[:2]), desk.steps(exam)["peritoneum"]
    good[wrong] = good[wrong] | {"valueQuantity": {"value": 9999, "code": "mm", "system": "http://unitsofmeasure.org"}}
    assert only(refusal(desk.note(*good), 422))[0].startswith(f"Bundle.entry[{wrong}]")
    assert desk.counts(*kinds[:2]) == before
    assert desk.steps(exam)["peritoneum"] == task
    assert coded(task["businessStatus"]) == "not-yet"
    taken(desk.note(*[g for n, g in enumerate(good) if n != wrong]))
