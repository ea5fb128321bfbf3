"""`python -m tests.bench [--quick] [--engine sqlite|postgresql]`: the table of ratios; exit 1 when a target is missed.

--quick takes a minute and only tells: a ratio taken while other work shares the machine is no verdict."""

import argparse
import sys
import tempfile
from pathlib import Path

from tests.bench import carrying, serving, transactions
from tests.bench.measuring import Line, table
from tests.builders.engines import ENGINES, Databases

QUICK, LENIENT = 8, 2.0
THOROUGH = 40


def main() -> int:
    """Measure, print, judge."""
    asked = _asked()
    rounds = QUICK if asked.quick else THOROUGH
    found: list[Line] = []
    with tempfile.TemporaryDirectory(prefix="sl-", ignore_cleanup_errors=True) as name:
        databases = Databases(Path(name))
        try:
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
        *serving.lines(engine, databases.fresh(engine), folder=folder, rounds=2 * few),
        *carrying.lines(engine, databases.fresh(engine), rounds=few),
        serving.memory(engine, databases.fresh(engine), resources=resources),
    ]


def _asked() -> argparse.Namespace:
    words = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    words.add_argument("--quick", action="store_true", help="a minute, and nothing fails")
    words.add_argument("--engine", action="append", choices=ENGINES, help="one engine only")
    return words.parse_args()


if __name__ == "__main__":
    sys.exit(main())
