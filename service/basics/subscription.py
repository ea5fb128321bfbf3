"""What a Subscription watches and what became of it, as frozen values."""

from dataclasses import dataclass

PREFIX = "subscription/"  # of the name of a subscription's own destination
NOTICE, PUT, PING = "notice", "put", "ping"
NOTICES = frozenset({NOTICE, PUT, PING})
"""Forms of a post: a notification Bundle, the resource itself under its own address, or an empty body."""
HANDSHAKE, HEARTBEAT, EVENT = "handshake", "heartbeat", "event-notification"


@dataclass(frozen=True, slots=True)
class Subscription:
    """type and criteria: what is watched, a search; topic: its canonical, "" for R4's own style.

    content: empty, id-only or full-resource with a topic; without one "resource" or "". state: requested, active,
    error or off; stated: what the resource says; events: how many there were; begun: which of them came before it was
    last asked for; heartbeat: seconds, 0 for none; most: events in one notification; told_us: when it was last told
    anything; until_us: when it ends, 0 for never; base: our own address; asker: by what whoever asked is known."""

    id: str
    type: str
    criteria: str
    topic: str
    content: str
    base: str
    state: str
    stated: str = ""
    error: str = ""
    asker: str = ""
    events: int = 0
    begun: int = 0
    heartbeat: int = 0
    most: int = 1
    told_us: int = 0
    until_us: int = 0

    @property
    def destination(self) -> str:
        """The name of the destination that its notifications are posted to."""
        return PREFIX + self.id


@dataclass(frozen=True, slots=True)
class Happening:
    """One event: which, when (an instant), and the version of the resource (Type/id) that it is about."""

    number: int
    at: str
    focus: str
    version: int
