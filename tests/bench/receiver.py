"""`python -m tests.bench.receiver PORT [hang]`: takes what is posted and answers as one that liked it, or never."""

import json
import sys
from collections.abc import Awaitable, Callable
from typing import Any

import uvicorn

ENTRIES = 70
ANSWER = json.dumps(
    {
        "resourceType": "Bundle",
        "type": "transaction-response",
        "entry": [{"response": {"status": "201 Created"}}] * ENTRIES,
    }
).encode()
HEADERS = [(b"content-type", b"application/fhir+json"), (b"content-length", str(len(ANSWER)).encode())]
Receive = Callable[[], Awaitable[dict[str, Any]]]
Send = Callable[[dict[str, Any]], Awaitable[None]]


async def app(scope: dict[str, Any], receive: Receive, send: Send) -> None:
    """Plain ASGI: the body is read to its end and forgotten."""
    while (await receive()).get("more_body"):
        pass
    await send({"type": "http.response.start", "status": 200, "headers": HEADERS})
    await send({"type": "http.response.body", "body": ANSWER})


async def hang(scope: dict[str, Any], receive: Receive, send: Send) -> None:
    """Takes everything and never says anything."""
    while (await receive())["type"] != "http.disconnect":
        pass


if __name__ == "__main__":
    uvicorn.run(
        hang if "hang" in sys.argv[2:] else app,
        port=int(sys.argv[1]),
        log_config=None,
        access_log=False,
        lifespan="off",
        ws="none",
    )
