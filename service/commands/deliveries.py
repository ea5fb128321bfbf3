"""`deliveries list|show|replay|skip`: what was promised to whom, what happened, and what a person may do about it."""

import json
from collections.abc import Callable
from dataclasses import asdict
from datetime import UTC, datetime

from service.basics.errors import Refusal
from service.commands import stop
from service.commands.table import printable, table
from service.store import AttemptRow, Delivery, SqlBooks

STATES = ("waiting", "delivered", "dead", "skipped")
SHOWN = 2_000  # characters of an answer that are printed unless all is asked for


def list_(books: SqlBooks, *, organization: str, state: str = "", limit: int = 50, as_json: bool = False) -> None:
    """Print the newest posts of an organisation, those of one state when it is given."""
    _known(books, organization)
    if state and state not in STATES:
        raise stop.stop(f"state is one of {', '.join(STATES)}")
    found = books.deliveries(organization, state=state, limit=limit)
    if as_json:
        print(json.dumps([asdict(each) for each in found]))
        return
    rows = [(d.id, d.made, d.destination, d.event, d.thread, _standing(d), str(d.tries)) for d in found]
    for line in table(("post", "made", "destination", "event", "exam", "state", "attempts"), rows):
        print(line)
    for one in books.destinations(organization):
        if not one.active:
            print(f"{one.name} is off ({printable(one.disabled)}): its posts wait until `destination enable`")
    if len(found) == limit:
        print(f"(the newest {limit}; ask for more with a higher limit)")


def show(books: SqlBooks, *, organization: str, post: str, body: bool = False, whole: bool = False) -> None:
    """Print one post and all that happened to it; body adds the bytes promised, whole leaves answers unshortened."""
    found = books.delivery(organization, post)
    if found is None:
        raise stop.stop(f"{printable(organization)} has no post {printable(post)}")
    for name, value in (("state", _standing(found)), *((n, str(v)) for n, v in asdict(found).items() if n in _SHOW)):
        print(f"{name:<12} {printable(value)}")
    for line in _history(books.attempts(organization, post), longest=None if whole else SHOWN):
        print(line)
    if body:
        print((books.post_body(organization, post) or b"").decode())


def replay(books: SqlBooks, *, organization: str, post: str, by: str) -> None:
    """Send a post again, same key and bytes, from the start of its schedule; what happened before stays on record."""
    _done(lambda: books.replay(organization, post, by=_named(by)))
    print(f"{post} is due now; replayed by {printable(by)}")


def replay_since(
    books: SqlBooks, *, organization: str, since: str, by: str, destination: str = "", delivered: bool = False
) -> None:
    """Send all dead posts made since an instant again, with delivered also those that had arrived, in their order.

    That is for a record system that lost what it had: keys and bytes are the same, so what it still has stays."""
    _known(books, organization)
    from_ = _instant(since)
    states = ("dead", "delivered") if delivered else ("dead",)
    again, left = books.replay_since(organization, from_, by=_named(by), states=states, destination=destination)
    print(f"{len(again)} posts made since {from_} are due now; replayed by {printable(by)}")
    for post in left:
        print(f"{post} is left alone: a later post of its exam went out already")


def skip(books: SqlBooks, *, organization: str, post: str, by: str) -> None:
    """Let the exam's later posts pass a dead one, which stays on record as skipped."""
    _done(lambda: books.skip(organization, post, by=_named(by)))
    print(f"{post} is skipped by {printable(by)}; it was not delivered")


_SHOW = ("destination", "event", "thread", "key", "made", "tries")


def _known(books: SqlBooks, organization: str) -> None:
    if books.organization(organization) is None:
        raise stop.stop(f"there is no organisation {printable(organization)}")


def _instant(text: str) -> str:
    """The instant as posts have it, in UTC; a day begins at midnight UTC."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise stop.stop("since is a day or an instant, such as 2026-11-25 or 2026-11-25T13:00:00+01:00") from None
    zoned = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    return zoned.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _named(by: str) -> str:
    if not by.strip():
        raise stop.stop("say by whom: it goes on record")
    return by.strip()[:200]


def _done(act: Callable[[], None]) -> None:
    try:
        act()
    except Refusal as refusal:
        raise stop.stop([fault.text for fault in refusal.faults]) from None


def _standing(delivery: Delivery) -> str:
    if delivery.leased_until:
        return "under way"
    return f"waiting until {delivery.due}" if delivery.state == "waiting" else delivery.state


def _history(attempts: tuple[AttemptRow, ...], *, longest: int | None) -> list[str]:
    lines = [] if attempts else ["no attempt yet"]
    for a in attempts:
        facts = (a.at, a.outcome, str(a.status or "-"), f"{a.milliseconds} ms", a.reason, f"by {a.by}" if a.by else "")
        lines.append("  ".join(printable(fact) for fact in facts if fact))
        if a.answer:
            more = f" ... ({len(a.answer)} characters in all)" if longest and len(a.answer) > longest else ""
            lines += [f"    {part}" for part in printable(a.answer[:longest], keep="\n").splitlines()] + [more] * bool(
                more
            )
    return lines
