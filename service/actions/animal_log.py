"""An animal into the references of all that its record holds, so that what touched any of it can be told."""

from collections.abc import Iterator, Sequence

from service.actions.everything import Wanted, everything
from service.actions.ports import House, View
from service.actions.writing import decoded
from service.basics.stored import Stored, Trace
from service.fhir import moments, search
from service.fhir.compartments import compartments

_PAGE = 500
_FEW = 10  # references of a line that are looked at


def record_of(house: House, view: View, animal: str) -> frozenset[str]:
    """Type/id of the animal and of everything in its record, whatever came or went: what is there now."""
    found, after = {f"Patient/{animal}"}, ""
    while True:
        wanted = Wanted(
            may=lambda _: True,
            types=frozenset(),
            since="",
            start=moments.EARLIEST,
            end=moments.LATEST,
            count=_PAGE,
            after=after,
        )
        page = everything(house, view, animal, wanted)
        found |= {f"{one.type}/{one.id}" for one in page.matches}
        after = page.after
        if not after:
            return frozenset(found)


def animals_of(house: House, view: View, lines: Sequence[Trace]) -> dict[str, tuple[str, ...]]:
    """For each line (by its id) the animals whose records it touched, as Patient/id, beyond those it names itself.

    Told by what is there now; a line that shows many resources (a page, a Bundle) is not gone through."""
    named = {one.id: _references(one) for one in lines}
    few = {id_: keys for id_, keys in named.items() if len(keys) <= _FEW}
    stored = view.get_many({key for keys in few.values() for key in keys if key[0] not in {"Patient", "AuditEvent"}})
    whose = {key: set(_patients(house, one)) for key, one in stored.items() if not one.deleted}
    return {
        id_: tuple(sorted(set[str]().union(*(whose.get(key, ()) for key in keys)) - {"/".join(key) for key in keys}))
        for id_, keys in few.items()
    }


def _references(line: Trace) -> set[tuple[str, str]]:
    parts = [one.partition("/") for one in line.entities] + [(line.type, "/", line.id_of)]
    return {(type_, id_) for type_, _, id_ in parts if type_ and id_}


def _patients(house: House, one: Stored) -> Iterator[str]:
    resource, offered = decoded(one), search.rows().get(one.type, {})
    for code in compartments()["Patient"].get(one.type, ()):
        if code in offered:
            yield from (
                f"Patient/{id_}" for _, id_ in search.links(resource, offered[code], target="Patient", base=house.base)
            )
