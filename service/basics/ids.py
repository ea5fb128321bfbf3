"""Ids of the server: UUID version 7 (RFC 9562), so that what is made together lies together."""

import os
import threading
import time
import uuid

_lock = threading.Lock()
_last = 0


def new_id() -> str:
    """A new UUIDv7 as text, rising within one process even inside a millisecond."""
    global _last
    with _lock:
        stamp = max(time.time_ns() // 1_000_000 << 12, _last + 1)
        _last = stamp
    tail = int.from_bytes(os.urandom(8), "big") & ((1 << 62) - 1)
    value = (stamp >> 12) << 80 | 7 << 76 | (stamp & 0xFFF) << 64 | 2 << 62 | tail
    return str(uuid.UUID(int=value))
