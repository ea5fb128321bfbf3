"""`python -m tests.bench [--quick|--growth] [--engine sqlite|postgresql]`: ratios; exit 1 when a target is missed.

--quick takes a minute and only tells: a ratio taken while other work shares the machine is no verdict.
--growth asks the same questions at 1,000, 10,000 and 100,000 exams (--exams for other sizes), bulk-loaded."""

import argparse
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.bench import admitting, bookkeeping, carrying, core, growth, pricing, serving, transactions
from tests.bench.measuring import Line, table
from tests.builders.engines import ENGINES, Databases

QUICK, LENIENT = 8, 2.0
THOROUGH = 40


def main() -> int:
    """Measure, print, judge."""
    asked = _asked()
    rounds = QUICK if asked.quick else THOROUGH
    found: list[Line] = [] if asked.growth else [pricing.line()]
    with tempfile.TemporaryDirectory(prefix="sl-", ignore_cleanup_errors=True) as name:
        databases = Databases(Path(name))
        try:
            if asked.growth:
                every = [
                    growth.run(e, databases.fresh(e), sizes=asked.exams, tell=_tell) for e in asked.engine or ENGINES
                ]
                return int(not all(every))
            for engine in asked.engine or ENGINES:
                (folder := Path(name) / engine).mkdir()
                found += _of_engine(engine, databases, folder=folder, rounds=rounds)
        finally:
            databases.close()
    leniency = LENIENT if asked.quick else 1.0
    print(table(found, leniency=leniency))
    return 0 if asked.quick else int(any(one.misses(leniency=leniency) for one in found))


def _of_engine(engine: str, databases: Databases, *, folder: Path, rounds: int) -> list[Line]:
    few, resources = (6, 2_000) if rounds == QUICK else (30, 10_000)
    return [
        *transactions.lines(engine, databases.fresh(engine), folder=folder, rounds=rounds),
        *core.lines(engine, databases.fresh(engine), rounds=rounds),
        *serving.lines(engine, databases.fresh(engine), folder=folder, rounds=2 * few),
        *admitting.lines(engine, databases.fresh(engine), rounds=few),
        *carrying.lines(engine, databases.fresh(engine), rounds=few),
        *carrying.fairness(engine, databases.fresh(engine), posts=resources if rounds > QUICK else 1_000),
        *bookkeeping.lines(engine, databases.fresh(engine), count=10 * resources, rounds=few),
        serving.memory(engine, databases.fresh(engine), resources=resources),
    ]


def _grown(engines: Sequence[str], databases: Databases, *, sizes: tuple[int, ...]) -> int:
    missed = 0
    for engine in engines:
        missed += not growth.run(engine, databases.fresh(engine), sizes=sizes, tell=_tell)
    return int(missed > 0)


def _tell(line: str) -> None:
    print(line, flush=True)


def _sizes(text: str) -> tuple[int, ...]:
    return tuple(int(one) for one in text.split(","))


def _asked() -> argparse.Namespace:
    words = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    words.add_argument("--quick", action="store_true", help="a minute, and nothing fails")
    words.add_argument("--growth", action="store_true", help="what becomes of reads as exams become many")
    words.add_argument("--exams", type=_sizes, default=growth.SIZES, help="sizes for --growth, with commas between")
    words.add_argument("--engine", action="append", choices=ENGINES, help="one engine only")
    return words.parse_args()


if __name__ == "__main__":
    sys.exit(main())
