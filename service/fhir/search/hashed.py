"""One search value -> the number under which resources that bear it are found."""

from functools import lru_cache
from hashlib import blake2b


@lru_cache(maxsize=8192)
def key(organization: str, type_: str, parameter: str, value: str) -> int:
    """The signed 64-bit key of a value ("" for a date parameter, whose values are periods)."""
    text = "\x1f".join((organization, type_, parameter, value))
    return int.from_bytes(blake2b(text.encode("utf-8", "surrogatepass"), digest_size=8).digest(), "big", signed=True)


def coded(system: str | None, code: str) -> str:
    """The value of a token: "system|code", "|code" without a system, or "code" whatever the system (None)."""
    if "|" in code or "\\" in code:
        code = code.replace("\\", "\\\\").replace("|", "\\|")
    return code if system is None else f"{system}|{code}"
