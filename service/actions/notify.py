"""Versions that are stored, into numbered events of the subscriptions that watch them, and posts that tell of them."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any
from urllib.parse import parse_qsl

from service.actions.ports import Work
from service.basics.ids import new_id
from service.basics.judging import Version, fits_all
from service.basics.query import Criterion
from service.basics.stored import Post, Record, Stored
from service.basics.subscription import EVENT, NOTICE, PING, PUT, Happening, Subscription
from service.fhir import exact, search
from service.fhir.topics import TOPICS
from service.fhir.writing.notification import notification

Json = dict[str, Any]
FORGOTTEN = "whoever asked for it is no longer let in; ask anew with a token that is good"
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def note(work: Work, records: Sequence[Record]) -> None:
    """Find who watches what was written; they are told in the same transaction, at its very end.

    An organisation in which nobody watches pays for one look."""
    watching = work.watchers()
    if not watching:
        return
    for one in watching:
        seen = [record.new for record in records if _event(work.organization, one, record)]
        if seen:
            _remember(work, one.id, seen)


def _remember(work: Work, id_: str, seen: Sequence[Stored]) -> None:
    if not work.happened:
        work.at_end(lambda: _tell(work))
    work.happened.setdefault(id_, []).extend(seen)


def _event(organization: str, one: Subscription, record: Record) -> bool:
    new = record.new
    if new.type != one.type or new.deleted or new.type == "Subscription":
        return False
    if not _fits(organization, one, new):
        return False
    topic = TOPICS.get(one.topic)
    if topic is None or not topic.changed or record.before is None:
        return True
    if not _fits(organization, one, record.before):
        return True
    now, then = exact.trusted(new.body), exact.trusted(record.before.body)
    return any(now.get(name) != then.get(name) for name in topic.changed)


def _fits(organization: str, one: Subscription, version: Stored) -> bool:
    resource = exact.trusted(version.body)
    updated = (datetime.fromisoformat(version.updated) - _EPOCH) // timedelta(microseconds=1)
    found = Version(version.id, updated, search.keys(organization, resource), version.body)
    return fits_all(found, _criteria(organization, one.type, one.criteria, one.base))


@lru_cache(maxsize=256)
def _criteria(organization: str, type_: str, text: str, base: str) -> tuple[Criterion, ...]:
    return search.parse(organization, type_, parse_qsl(text), base=base).criteria


def _tell(work: Work) -> None:
    """Number what happened and post it: subscription by subscription, always in the same order."""
    for id_, seen in sorted(work.happened.items()):
        counted = work.count_events(id_, [(f"{s.type}/{s.id}", s.version) for s in seen])
        if counted is None or counted[0].state != "active":
            continue
        one, happenings = counted
        if not work.still_known(one.asker):
            work.fail_subscription(one, FORGOTTEN)
            continue
        posts = _notices if one.topic else _resources
        work.post(posts(work, one, list(zip(happenings, seen, strict=True))))
    work.happened.clear()


def _notices(work: Work, one: Subscription, happened: Sequence[tuple[Happening, Stored]]) -> Iterator[Post]:
    for first in range(0, len(happened), one.most):
        part = happened[first : first + one.most]
        id_ = new_id()
        told = [(h, exact.trusted(s.body) if one.content == "full-resource" else None) for h, s in part]
        bundle = notification(one, EVENT, id_=id_, at=exact.instant(work.now), told=told)
        key = f"{one.id}:{part[0][0].number}"
        yield Post(id_, one.destination, key, one.destination, EVENT, exact.encode(bundle), NOTICE)


def _resources(work: Work, one: Subscription, happened: Iterable[tuple[Happening, Stored]]) -> Iterator[Post]:
    """R4's own style: the resource itself, in order of its versions, or a call without content."""
    for happening, stored in happened:
        body, form = (stored.body, PUT) if one.content else (b"", PING)
        key = f"{one.id}:{happening.number}"
        yield Post(new_id(), one.destination, key, f"{one.id}/{happening.focus}", EVENT, body, form)
