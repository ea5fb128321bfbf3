"""One search value -> the number under which resources that bear it are found."""

from functools import lru_cache
from hashlib import blake2b

_HALF = 1 << 32


@lru_cache(maxsize=16384)
def key(organization: str, type_: str, parameter: str, value: str) -> int:
    """The signed 64-bit key of a value ("" for a parameter whose values are stretches of time or numbers)."""
    return _number("\x1f".join((organization, type_, parameter, value)))


@lru_cache(maxsize=2048)
def system(text: str) -> int:
    """The signed 64-bit number of a code system, which a token's mark bears beside its code; "" is none."""
    return _number(text)


def _number(text: str) -> int:
    digest = blake2b(text.encode("utf-8", "surrogatepass"), digest_size=8).digest()
    return int.from_bytes(digest, "big", signed=True)


def paired(code: str, of_system: str | None) -> tuple[int, int]:
    """The numbers, first to last, that a code has together with a system: one, or all of them when any will do."""
    first = (_number(code) >> 32) * _HALF
    if of_system is None:
        return first, first + _HALF - 1
    one = first + (system(of_system) & (_HALF - 1))
    return one, one
