"""A Composition into all that belongs to its document."""

import re
from collections.abc import Callable, Iterator

from service.actions.ports import House, View
from service.actions.writing import decoded
from service.basics.errors import Fault, NotPermitted, RuleBroken, TooLarge
from service.basics.stored import Stored
from service.fhir.reading.links import links

_LOCAL = re.compile(r"([A-Z][A-Za-z]+)/([A-Za-z0-9\-.]{1,64})(?:/_history/([1-9][0-9]{0,8}))?")
Link = tuple[str, str, int]  # type, id, and the version that is named (0: the current one)


def document(house: House, view: View, composition: Stored, *, may: Callable[[str], bool], most: int) -> list[Stored]:
    """The Composition first, then everything that can be reached from it, each once.

    Raises RuleBroken naming each reference of the Composition that leads nowhere, NotPermitted naming the types that
    the caller may not read, TooLarge beyond `most` resources. What others refer to and is not here is left out."""
    faults = [
        Fault("not-found", f"{link[0]}/{link[1]} is not here: there is no document without it.", path)
        for path, link in _local(house, composition)
        if _get(view, link) is None
    ]
    if faults:
        raise RuleBroken(*faults)
    found = {(composition.type, composition.id, 0): composition}
    waiting = [composition]
    for one in waiting:  # it grows while it is walked
        for _, link in _local(house, one):
            stored = None if link in found else _get(view, link)
            if stored is not None:
                found[link] = stored
                waiting.append(stored)
        if len(found) > most:
            raise TooLarge(Fault("too-costly", f"The document would hold more than {most} resources."))
    forbidden = sorted({type_ for type_, _, _ in found if not may(type_)})
    if forbidden:
        raise NotPermitted(*(Fault("forbidden", f"The token lacks the scope system/{t}.r.") for t in forbidden))
    return list({(one.type, one.id, one.version): one for one in found.values()}.values())


def _local(house: House, one: Stored) -> Iterator[tuple[str, Link]]:
    for path, reference in links(decoded(one), base=house.base):
        match = _LOCAL.fullmatch(reference)
        if match:
            yield path, (match.group(1), match.group(2), int(match.group(3) or 0))


def _get(view: View, link: Link) -> Stored | None:
    type_, id_, version = link
    stored = view.version(type_, id_, version) if version else view.get(type_, id_)
    return stored if stored and not stored.deleted else None
