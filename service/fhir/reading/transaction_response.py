"""A transaction and its answer into how many entries they have; of all their kilobytes nothing else is read."""

import msgspec

ANSWERS = frozenset({"transaction-response", "batch-response"})


class _Response(msgspec.Struct):
    status: str


class _Answered(msgspec.Struct):
    response: _Response


class _Answer(msgspec.Struct):
    resourceType: str  # noqa: N815  # FHIR's name
    type: str
    entry: list[_Answered]


class _Sent(msgspec.Struct):
    resourceType: str  # noqa: N815  # as above
    entry: list[msgspec.Raw]


_answer, _sent = msgspec.json.Decoder(_Answer), msgspec.json.Decoder(_Sent)


def performed(answer: bytes) -> int | None:
    """How many entries were performed when all were; None when one was not, or when that can't be read this way."""
    try:
        read = _answer.decode(answer)
    except (msgspec.MsgspecError, RecursionError):
        return None
    whole = read.resourceType == "Bundle" and read.type in ANSWERS
    return len(read.entry) if whole and all(one.response.status[:1] == "2" for one in read.entry) else None


def promised(bundle: bytes) -> int | None:
    """How many entries a Bundle has; None for anything else."""
    try:
        read = _sent.decode(bundle)
    except (msgspec.MsgspecError, RecursionError):
        return None
    return len(read.entry) if read.resourceType == "Bundle" else None
