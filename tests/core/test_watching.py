"""A watch that breaks goes on: what must be told in time is never left alone by an error."""

import threading
from typing import Any

from service.actions.watching import keep


def test_a_watch_that_breaks_is_begun_again() -> None:
    stop, begun = threading.Event(), []

    def watch(house: Any, organizations: Any, *, stop: threading.Event, pause: float) -> None:
        begun.append(organizations())
        if len(begun) == 3:
            stop.set()
            return
        raise ZeroDivisionError("in the middle of its work")

    keep(watch, None, lambda: ["quillfold"], stop, pause=0.01)  # type: ignore[arg-type]
    assert begun == [["quillfold"]] * 3


def test_it_is_not_begun_once_stopped() -> None:
    stop = threading.Event()
    stop.set()

    def watch(*_: Any, **__: Any) -> None:
        raise AssertionError("nobody asked for it")

    keep(watch, None, list, stop)  # type: ignore[arg-type]
