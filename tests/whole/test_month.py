"""A month of an invented practice over HTTP, by a clock that is set: to the cent, and again to the same digits."""

import io
import json
from collections import Counter
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from service.actions.close_month import close
from service.basics.errors import Conflict
from service.commands.billing_report import report, totals
from service.fhir import uris
from tests.builders.bills import house
from tests.builders.instances import Instance
from tests.builders.reckoning import Planned, month, text, together
from tests.whole.conftest import Worlds
from tests.whole.month import BY, Month, clocked
from tests.whole.month_papers import digits, filed, paper
from tests.whole.telling import Json, taken

OCTOBER = "2025-10"
CLOSING = datetime(2025, 11, 3, 9, tzinfo=UTC)


@pytest.fixture
def instance(engine: str, worlds: Worlds, tmp_path: Path) -> Any:
    made = clocked(Instance(worlds.database(engine), tmp_path), _clock(tmp_path))
    yield made
    made.close()


def _clock(folder: Path) -> Path:
    file = folder / "clock"
    file.write_text("2025-09-30T08:00:00+00:00", encoding="ascii")
    return file


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_a_few_exams_close_to_the_cent(instance: Instance, tmp_path: Path) -> None:
    with Month(instance, tmp_path / "clock", list(month(6)), {0: "sample", 1: "part withdraw", 4: "stop"}) as played:
        played.play()
        settled(played)


@pytest.mark.full
def test_a_month_of_sixty_exams_closes_to_the_cent_and_again_to_the_same_digits(
    instance: Instance, tmp_path: Path
) -> None:
    plan = list(month(60))
    ended = _ended(plan)
    assert Counter(" ".join(ended.values()).split()) == {"withdraw": 5, "stop": 1, "part": 1, "sample": 1}
    kept = []
    for _ in range(2):
        with Month(instance, tmp_path / "clock", plan, ended) as played:
            played.play()
            settled(played)
            assert {one.payer for one in played.papers} == {"client", "clinic", "insurer"}
            assert {percent for one in played.papers for percent in one.rates} == {10, 20}
            kept.append(([digits(one) for one in filed(played.desk)], _anonymous(played)))
    assert kept[0] == kept[1]


def _ended(plan: list[Planned]) -> Mapping[int, str]:
    """Six withdrawals, of one exam while it was scanned, and two parts credited, one of an exam withdrawn later."""
    two = [n for n, one in enumerate(plan) if ("sample", 2) in one.done and one.began.day < 15]
    sampled = next(n for n in two if n not in (1, 12))
    others = [n for n in (5, 20, 27, 33, 48) if n != sampled][:4]
    return {1: "part withdraw", 12: "stop", **dict.fromkeys(others, "withdraw"), sampled: "sample"}


def settled(played: Month) -> None:
    """What is on file is what was reckoned, the month closes over it, and what comes later is another month's."""
    papers = filed(played.desk)
    assert Counter(map(repr, map(paper, papers))) == Counter(map(repr, played.papers))
    assert [p["identifier"][0]["value"] for p in papers] == [f"2025-{n + 1:06d}" for n in range(len(papers))]
    assert [p["date"] for p in papers] == sorted(p["date"] for p in papers)
    played.set(CLOSING)
    at = house(played.books)
    before = reported(played)
    assert before["totals"] == [reckoned(played)]
    closed = close(at, played.slug, month=OCTOBER, by=BY, told=totals)
    assert json.loads(closed.totals) == before["totals"]
    with pytest.raises(Conflict):
        close(at, played.slug, month=OCTOBER, by=BY, told=totals)
    nothing_forgotten(played)
    late = next(n for n in played.open if played.open[n])
    taken(played.desk.operate(played.exams[late].id, "withdraw", reason="Wrong animal.", by=BY))
    assert reported(played)["totals"] == before["totals"]
    assert filed(played.desk)[-1]["date"].startswith("2025-11-03")


def nothing_forgotten(played: Month) -> None:
    """What is open is that each insurer lacks a history, for nobody has sent any."""
    answer = played.http.post("Task/$billing-check", content=b'{"resourceType":"Parameters"}')
    words = {p["name"]: p.get("valueString") for p in taken(answer).json()["parameter"]}
    tasks = played.desk.search("Task", code="billing-exception", status="requested")
    kinds = Counter(c["code"] for t in tasks for c in t["code"]["coding"] if c["system"] == uris.BILLING_EXCEPTION)
    claimed = sum(any(payer == "insurer" for payer, *_ in bills) for bills in played.open.values())
    assert kinds == Counter({"claim-incomplete": claimed} if claimed else {})
    assert words["open"] == str(claimed)


def reported(played: Month, format_: str = "json") -> Json:
    out = io.StringIO()
    report(house(played.books), played.slug, stretch=OCTOBER, format_=format_, out=out)
    found: Json = json.loads(out.getvalue())
    return found


def _anonymous(played: Month) -> Any:
    """The month's report without the ids of exams, which differ from play to play."""
    found = reported(played)
    return [{k: v for k, v in one.items() if k not in {"exam", "animal"}} for one in found["invoices"]]


def reckoned(played: Month) -> Json:
    """The totals of October as the report must show them."""
    papers = [one for one in played.papers if one.day.startswith(OCTOBER)]
    rates = together([one.rates for one in papers])
    net, tax = (sum(parts[n] for parts in rates.values()) for n in (0, 1))
    cash = sum(one.cash for one in papers)
    return {
        "currency": "EUR",
        "invoices": sum(one.kind == "invoice" for one in papers),
        "credits": sum(one.kind == "credit" for one in papers),
        "net": text(net),
        "tax": text(tax),
        "gross": text(net + tax),
        "cash_rounding": text(cash),
        "due": text(net + tax + cash),
        "rates": [{"category": "S", "rate": str(p), "base": text(n), "tax": text(t)} for p, (n, t) in rates.items()],
    }
