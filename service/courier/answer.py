"""What came back from a destination, cut to a size that cannot hurt."""

from dataclasses import dataclass

KEPT = 64 * 1024  # bytes of an answer that are remembered
READ = 1024 * 1024  # bytes of an answer that are read at all


@dataclass(frozen=True, slots=True)
class Answer:
    """An HTTP answer: `whole` is False when it was longer than READ; encoding is its Content-Encoding, "" for none."""

    status: int
    body: bytes = b""
    whole: bool = True
    encoding: str = ""
    retry_after: str = ""
    location: str = ""
    etag: str = ""


@dataclass(frozen=True, slots=True)
class NoAnswer:
    """Nothing came back that could be read: whether the post was taken is unknown, unless it was never sent at all.

    hopeless: another attempt would fail in the same way, for the address or the request itself is at fault."""

    reason: str
    hopeless: bool = False


def shortened(answer: Answer | NoAnswer) -> str:
    """The answer as text that every database can keep: at most KEPT bytes of it, no NUL, undecodable bytes replaced."""
    if isinstance(answer, NoAnswer) or answer.encoding:
        return ""
    return answer.body[:KEPT].decode("utf-8", errors="replace").replace("\x00", "\ufffd")
