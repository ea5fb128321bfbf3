"""Two ways to do the same, into the ratio of what they cost: run in turns, so that what disturbs one disturbs both."""

from collections.abc import Callable
from dataclasses import dataclass
from statistics import median
from time import perf_counter

Run = Callable[[], object]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the table. limit is for `ratio`: at most when `most`, else at least; None is only reported."""

    what: str
    engine: str
    ours: str
    bare: str
    ratio: float
    limit: float | None = None
    most: bool = True

    def misses(self, *, leniency: float = 1.0) -> bool:
        """Whether the ratio is on the wrong side of its limit, the limit eased by a factor."""
        if self.limit is None:
            return False
        return self.ratio > self.limit * leniency if self.most else self.ratio < self.limit / leniency


def seconds(run: Run) -> float:
    """How long one run takes."""
    began = perf_counter()
    run()
    return perf_counter() - began


def in_turns(ours: Run, bare: Run, *, rounds: int, warm: int = 3) -> tuple[float, float]:
    """The median seconds of either: one, the other, again. The first `warm` rounds do not count."""
    pairs = [(seconds(ours), seconds(bare)) for _ in range(rounds + warm)][warm:]
    return median(o for o, _ in pairs), median(b for _, b in pairs)


def cost(what: str, engine: str, times: tuple[float, float], *, most: float | None = None) -> Line:
    """How many times the bare way's time ours takes; at most `most`."""
    ours, bare = times
    return Line(what, engine, f"{ours * 1000:.2f} ms", f"{bare * 1000:.2f} ms", ours / bare, most)


def rate(what: str, engine: str, rates: tuple[float, float], *, least: float | None = None) -> Line:
    """The part of the bare way's rate that ours reaches; at least `least`."""
    ours, bare = rates
    return Line(what, engine, f"{ours:,.0f}/s", f"{bare:,.0f}/s", ours / bare, least, most=False)


def table(lines: list[Line], *, leniency: float = 1.0) -> str:
    """The lines as text for people."""
    rows = [("what", "engine", "ours", "bare", "ratio", "target", "")]
    for one in lines:
        target = "" if one.limit is None else f"{'<=' if one.most else '>='} {one.limit:g}"
        told = "MISSED" if one.misses(leniency=leniency) else "(off)" if one.misses() else ""
        rows.append((one.what, one.engine, one.ours, one.bare, f"{one.ratio:.2f}", target, told))
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return "\n".join("  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows)
