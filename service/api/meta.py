"""$meta, $meta-add and $meta-delete: the profiles, tags and security labels of one resource."""

from collections.abc import Callable
from typing import Any

from service.api import answers, conditions
from service.api.answers import Answer
from service.api.ask import Ask
from service.api.inputs import posted
from service.api.read import present
from service.basics.entries import Entry
from service.basics.errors import Busy, Conflict, Fault, Invalid, Stale
from service.basics.stored import Stored
from service.fhir import exact
from service.fhir.reading.parameters import named
from service.fhir.writing.meta import added, removed

Json = dict[str, Any]
_TRIES = 4


def meta(ask: Ask) -> Answer:
    """The meta of the current version. Raises Missing or Gone."""
    return _told(_current(ask))


def changing(change: Callable[[Json, Json], Json]) -> Callable[[Ask], Answer]:
    """The interaction that writes a next version with another meta; where nothing changes there is none.

    It raises what an update does; without If-Match it is done again when somebody else was quicker."""

    def run(ask: Ask) -> Answer:
        given, match = _given(ask), conditions.if_match(ask.headers)
        for _ in range(_TRIES):
            before = _current(ask)
            try:
                return _change(ask, before, change(exact.decode(before.body), given), match=match)
            except (Conflict, Stale):
                if match is not None or _current(ask).version == before.version:
                    raise
        raise Busy(Fault("lock-error", "Others change this resource all the time; ask again."))

    return run


add = changing(added)
delete = changing(removed)


def _change(ask: Ask, before: Stored, after: Json, *, match: int | None) -> Answer:
    if after == exact.decode(before.body) and match in {None, before.version}:
        return _told(before)
    entry = Entry("PUT", ask.type, ask.id, resource=after, if_match=match or before.version)
    result = ask.kit.transact(ask.kit.house, ask.caller, [entry], bundle_type="transaction")[0]
    return _told(result.stored or before)


def _given(ask: Ask) -> Json:
    held = [one for one in named(posted(ask), "meta") if isinstance(one, dict)]
    if len(held) != 1:
        raise Invalid(Fault("required", "Parameters needs one parameter named meta.", "Parameters.parameter"))
    return dict(held[0])


def _current(ask: Ask) -> Stored:
    with ask.looking() as view:
        return present(ask, view.get(ask.type, ask.id))


def _told(found: Stored) -> Answer:
    value = {"name": "return", "valueMeta": exact.decode(found.body)["meta"]}
    text = exact.encode({"resourceType": "Parameters", "parameter": [value]})
    return Answer(200, text, answers.versioned(found), seen=(f"{found.type}/{found.id}",))
