"""Nobody sees what is another organisation's: cases of all that is offered, generated from what the service says.

Published: OWASP API Security Top 10 2023, API1 and API3; ASVS 5.0, 8.2.2 and 8.4.1."""

import logging
import random
from collections.abc import Iterator
from contextlib import contextmanager
from statistics import median
from time import perf_counter
from typing import Any

import pytest

from tests.isolation.cases import Case
from tests.isolation.conftest import Open
from tests.isolation.judging import Breach, Judge
from tests.isolation.offered import Offered
from tests.isolation.world import House, World

SAMPLE = 90  # cases of each pair in the quick set
LONG = 1500  # and in the long one where not all are sent
WRITES = frozenset({"POST", "PUT", "PATCH", "DELETE"})


class Listening(logging.Handler):
    """Keeps all that is logged."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self.heard: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.heard.append(record.getMessage())


@contextmanager
def listening() -> Iterator[list[str]]:
    """What the service logs meanwhile, at its most talkative."""
    ear, logger = Listening(), logging.getLogger("sonoledger")
    before = logger.level
    logger.addHandler(ear)
    logger.setLevel(logging.DEBUG)
    try:
        yield ear.heard
    finally:
        logger.setLevel(before)
        logger.removeHandler(ear)


def attack(by: House, about: House, cases: list[Case], world: World) -> None:
    """Send all cases: no breach, nothing of the other's changed, in its audit or in any log."""
    judge, before = Judge(by, about), world.stored(about)
    with listening() as log:
        breaches = [breach for case in cases for breach in judge.breaches(case)]
    assert breaches == [], _told(breaches)
    assert world.stored(about) == before
    assert not world.audited(about) & judge.requests
    said = "\n".join(log)
    assert said
    assert about.canaries.in_(said) <= judge.told


def _told(breaches: list[Breach]) -> str:
    return "\n".join(f"{b.case.method} {b.case.path[:200]}: {b.what}" for b in breaches[:20])


def sampled(cases: list[Case], count: int, *, seed: int) -> list[Case]:
    """So many of them, in their order."""
    chosen = random.Random(seed).sample(range(len(cases)), min(count, len(cases)))
    return [cases[n] for n in sorted(chosen)]


def test_nothing_is_shown_to_another(open_world: Open) -> None:
    """A sample of the cases; the long set sends them all."""
    world = open_world(False)
    for seed, about in enumerate((world.beta, world.gamma)):
        attack(world.alpha, about, sampled(list(Offered(world.alpha).cases(about, most=1)), SAMPLE, seed=seed), world)


def test_everything_offered_has_a_case(open_world: Open) -> None:
    """A new path, operation, search parameter or include fails here until somebody says how it is attacked."""
    world = open_world(False)
    offered = Offered(world.alpha)
    cases = list(offered.cases(world.gamma, most=1))
    assert offered.lacking(cases) == set()
    assert offered.undescribed(world.routes) == set()
    assert offered.undescribed([*world.routes, "/new"]) == {"/new"}
    rest: list[Any] = offered.statement["rest"][0]["resource"]
    rest[0]["searchParam"].append({"name": "new", "type": "token"})
    offered.openapi["paths"]["/fhir/new"] = {"get": {}}
    assert offered.lacking(cases) == {"GET /fhir/new", f"{rest[0]['type']}?new", f"{rest[0]['type']}?_sort=new"}


def test_the_judge_sees_what_is_shown(open_world: Open) -> None:
    """Asked by whom it belongs to, the same cases show what they are about: a wall that let it through would fail."""
    world = open_world(False)
    judge = Judge(world.gamma, world.gamma)
    reads = [c for c in Offered(world.gamma).cases(world.gamma, most=1) if c.method == "GET" and not c.moves]
    kept = [c for c in reads if c.path.startswith(tuple(f"/fhir/{type_}/" for type_ in world.gamma.resources))]
    direct = [c for c in kept if c.covers[0] in ("GET /fhir/{type}/{id}", "GET /fhir/Patient/{id}/$everything")]
    silent = [c.path for c in sampled(direct, 40, seed=1) if "count" not in c.path and not judge.breaches(c)]
    assert silent == []


@pytest.mark.full
def test_nothing_at_all_is_shown_to_another(open_world: Open) -> None:
    """Every case of a practice about another one; of the other pairs a sample."""
    world = open_world(True)
    pairs = ((world.alpha, world.beta), (world.alpha, world.gamma), (world.gamma, world.beta))
    sent = 0
    for by, about in pairs:
        cases = list(Offered(by).cases(about, most=1))
        cases = cases if by is world.alpha and about is world.beta else sampled(cases, LONG, seed=sent)
        attack(by, about, cases, world)
        sent += 2 * len(cases)
    assert sent >= 20_000


@pytest.mark.full
def test_the_searches_would_find_it(open_world: Open) -> None:
    """Each search parameter has a case that finds something for whom it belongs to; chains and includes do as well."""
    world = open_world(True)
    found: dict[str, bool] = {}
    for about in (world.gamma, world.beta):
        for case in Offered(about).cases(about, most=3):
            names = [one for one in case.covers if "?" in one and one.partition("?")[0] in about.resources]
            if names and not all(found.get(name) for name in names):
                hit = _brings(about, case)
                found |= {name: hit or found.get(name, False) for name in names}
    plain = {name for name in found if "?_" not in name and not name.endswith(".")}
    assert {name for name in plain if not found[name]} <= UNFOUND
    assert len(plain) > 450
    for kind, least in (("?_include=", 0.4), ("?_revinclude=", 0.2), (".", 0.6), ("?_has", 0.8)):
        told = [hit for name, hit in found.items() if kind in name and (kind != "." or name.endswith("."))]
        assert sum(told) >= least * len(told) > 0, (kind, sum(told), len(told))


def _brings(about: House, case: Case) -> bool:
    """Whether it finds something; of an include, whether something comes along."""
    answer = about.http.get(case.path)
    entries = answer.json().get("entry", []) if answer.status_code == 200 else []
    along = "include" in case.path
    return any(one["search"]["mode"] == ("include" if along else "match") for one in entries)


@pytest.mark.full
def test_what_is_anothers_takes_as_long_as_what_is_nobodys(open_world: Open) -> None:
    """Medians of reads by id, one after the other in turn: the time tells nothing either."""
    world = open_world(True)
    ids = [one["id"] for kept in world.beta.resources.values() for one in kept][:20]
    taken: dict[bool, list[float]] = {True: [], False: []}
    for _ in range(40):
        for id_ in ids:
            for foreign in (True, False):
                path = f"/fhir/Patient/{id_ if foreign else world.beta.canaries.twin(id_)}"
                began = perf_counter()
                assert world.alpha.http.get(path).status_code == 404
                taken[foreign].append(perf_counter() - began)
    assert 0.8 < median(taken[True]) / median(taken[False]) < 1.25


# What an invented whole has no value for: R4 lets it have one of several, or the reference leads to another type.
UNFOUND = frozenset(
    {
        *(f"Condition?{name}" for name in ("abatement-age", "abatement-date", "abatement-string", "onset-info")),
        *(f"{type_}?patient" for type_ in ("AuditEvent", "Composition", "Provenance")),
        *("Appointment?location", "DocumentReference?location"),
        *("Observation?value-date", "Observation?code-value-date"),
    }
)
