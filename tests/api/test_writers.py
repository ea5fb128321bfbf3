"""Writes in turn: what waits shares a commit, a refusal is told to one alone, a commit that fails is told to all."""

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event
from types import SimpleNamespace
from typing import Any

import pytest

from service.api.answers import Answer
from service.api.writers import InTurn
from service.basics.errors import Conflict, Fault, Full


class Counting:
    """Books that count shared commits, and fail one when told to."""

    def __init__(self) -> None:
        self.commits, self.broken = 0, False

    @contextmanager
    def together(self) -> Iterator[None]:
        yield
        self.commits += 1
        if self.broken:
            raise Full(Fault("no-store", "Nothing was stored."))


def ask(body: bytes = b"{}") -> Any:
    return SimpleNamespace(body=body)


def gathered(books: Counting, runs: list[Any], asks: list[Any]) -> list[Any]:
    """What becomes of writes that all come in while the first one is being written."""
    held, begun = Event(), Event()

    def hold(_: Any) -> Answer:
        begun.set()
        assert held.wait(10)
        return Answer(200)

    async def all_of() -> list[Any]:
        writers = InTurn(books)  # type: ignore[arg-type]
        first = asyncio.create_task(writers.write(hold, ask()))
        await asyncio.to_thread(begun.wait, 10)
        rest = [asyncio.create_task(writers.write(run, one)) for run, one in zip(runs, asks, strict=True)]
        await asyncio.sleep(0)
        held.set()
        found = await asyncio.gather(first, *rest, return_exceptions=True)
        writers.close()
        return found[1:]

    return asyncio.run(all_of())


def made(number: int) -> Any:
    return lambda _: Answer(200 + number)


def refused(_: Any) -> Answer:
    raise Conflict(Fault("conflict", "Not this one."))


def test_what_waits_shares_one_commit() -> None:
    books = Counting()
    found = gathered(books, [made(n) for n in range(20)], [ask()] * 20)
    assert [one.status for one in found] == [200 + n for n in range(20)]
    assert books.commits == 1


def test_a_refusal_is_told_to_one_alone() -> None:
    found = gathered(Counting(), [made(1), refused, made(2)], [ask()] * 3)
    assert [getattr(one, "status", type(one)) for one in found] == [201, Conflict, 202]


def test_a_commit_that_fails_is_told_to_all() -> None:
    books = Counting()
    books.broken = True
    found = gathered(books, [made(1), refused, made(2)], [ask()] * 3)
    assert [type(one) for one in found] == [Full] * 3


def test_a_long_one_commits_alone_and_keeps_its_turn() -> None:
    books = Counting()
    order: list[int] = []

    def noting(number: int) -> Any:
        return lambda _: order.append(number) or Answer(200)

    gathered(books, [noting(n) for n in range(5)], [ask(), ask(), ask(b"x" * 100_000), ask(), ask()])
    assert order == [0, 1, 2, 3, 4]
    assert books.commits == 2


@pytest.mark.parametrize("rounds", [30])
def test_a_writer_that_has_rested_starts_again(rounds: int) -> None:
    async def one_by_one() -> list[int]:
        writers = InTurn(Counting())  # type: ignore[arg-type]
        found = [(await writers.write(made(n), ask())).status for n in range(rounds)]
        writers.close()
        return found

    assert asyncio.run(one_by_one()) == [200 + n for n in range(rounds)]
