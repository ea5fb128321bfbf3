"""Ids of the server: UUID version 7 (RFC 9562), so that what is made together lies together."""

import os
import threading
import time

_lock = threading.Lock()
_last = 0


def new_id() -> str:
    """A new UUIDv7 as text, rising within one process even inside a millisecond."""
    global _last
    with _lock:
        stamp = max(time.time_ns() // 1_000_000 << 12, _last + 1)
        _last = stamp
    time_, rest = f"{stamp >> 12:012x}", os.urandom(8).hex()
    variant = "89ab"[int(rest[0], 16) & 3]
    return f"{time_[:8]}-{time_[8:]}-7{stamp & 0xFFF:03x}-{variant}{rest[1:4]}-{rest[4:]}"
