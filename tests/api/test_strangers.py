"""Whom nobody knows leaves lines too, but can't fill the store with them."""

from service.api.audit import Audit, Line, login


def line(n: int) -> Line:
    return login("", "", request=f"r{n}", outcome="4")


def test_a_hundred_at_once_and_one_a_second() -> None:
    written: list[Line] = []
    now = [0.0]
    log = Audit(written.extend, clock=lambda: now[0])
    for n in range(150):
        log.stranger(line(n))
    assert log.flush()
    assert (len(written), log.dropped) == (100, 50)
    now[0] = 3.0
    for n in range(150, 160):
        log.stranger(line(n))
    assert log.flush()
    assert (len(written), log.dropped) == (103, 57)
    now[0] = 10_000.0
    for n in range(160, 300):
        log.stranger(line(n))
    assert log.flush()
    assert len(written) == 203
    log.note(line(0))  # who is known leaves his line whatever strangers did
    assert log.flush()
    assert len(written) == 204
