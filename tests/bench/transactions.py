"""Evidence, orders and $finish through the actions, against the least that the same bodies could cost."""

import gc
from pathlib import Path
from statistics import median

from tests.bench import exam
from tests.bench.floor import Floor, accepted, floor, settle
from tests.bench.house import Practice
from tests.bench.measuring import Line, cost, seconds

MOST = {"postgresql": 6.0, "sqlite": 12.0}
ROW = (b"x" * 1000,)
FINISH = 8.0
WARMING = 5


def lines(engine: str, url: str, *, folder: Path, rounds: int) -> list[Line]:
    """The three ratios of one engine; each round is an exam of its own, and after each step comes its floor."""
    practice, bare = Practice(url), floor(url, folder=folder)
    gc.collect()
    gc.freeze()  # as `serve` does
    try:
        for _ in range(WARMING):
            _round(practice, bare)
        settle(url)
        found = [_round(practice, bare) for _ in range(rounds)]
    finally:
        gc.unfreeze()
        practice.close()
        bare.close()
    columns = [median(column) for column in zip(*found, strict=True)]
    return [
        cost("evidence of 70 / decode + insert", engine, (columns[0], columns[1]), most=MOST[engine]),
        cost("one order / a commit of one row", engine, (columns[2], columns[5])),
        cost("$finish of a full exam / insert of what it leaves", engine, (columns[3], columns[4]), most=FINISH),
    ]


def _round(practice: Practice, bare: Floor) -> tuple[float, ...]:
    text, times = exam.order(), []
    placed: list[tuple[str, str, str]] = []
    ordering = seconds(lambda: placed.append(practice.placed(text)))
    order, animal, task = placed[0]
    row = [seconds(lambda: bare.insert(ROW))]
    sent = exam.evidence(order, animal)
    bodies = practice.left_by(lambda: times.append(seconds(lambda: practice.take(sent))))
    assert len(bodies) > 70, f"seventy resources and the Tasks of their steps: {len(bodies)}"
    least = seconds(lambda: accepted(bare, sent, bodies))
    practice.complete(placed[0])
    bodies = practice.left_by(lambda: times.append(seconds(lambda: practice.finish(task))))
    kept = seconds(lambda: bare.insert(bodies))
    row.append(seconds(lambda: bare.insert(ROW)))
    return times[0], least, ordering, times[1], kept, median(row)
