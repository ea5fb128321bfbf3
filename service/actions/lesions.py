"""Records of focal lesions into lesions with a number: each is known again in every exam of its animal."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from service.actions.gathering import all_of
from service.actions.ports import House, Work
from service.actions.sheet import Sheet
from service.actions.writing import decoded
from service.basics.errors import Fault, RuleBroken
from service.basics.ids import new_id
from service.exam import body_site
from service.exam.lesion import VOCABULARY
from service.exam.rules import Attribute
from service.fhir import uris
from service.fhir.reading.coded import codings
from service.fhir.reading.lesion import body_structure as focus_of
from service.fhir.reading.lesion import is_lesion
from service.fhir.writing.body_structure import body_structure, lesion_number

Json = dict[str, Any]


def identify(house: House, work: Work, sheet: Sheet, resources: Sequence[Json], places: Sequence[str]) -> list[Json]:
    """Give each record among the resources its lesion, in place; answers the BodyStructures of new lesions.

    A record that names a BodyStructure in `focus` is of that lesion; one that names none, and had none before, is of a
    new one; a lesion that no record stands for is set inactive. Raises RuleBroken with every record that names another
    animal's, or no, lesion."""
    said = [(r, _at(places, i)) for i, r in enumerate(resources) if r["resourceType"] == "Observation" and is_lesion(r)]
    if not said:
        return []
    records = [(r, place) for r, place in said if r.get("status") != "entered-in-error"]
    numbering = _Numbering(house, work, sheet)
    faults: list[Fault] = []
    for record, place in records:
        found = [*numbering.identify(record), *_words(record, sheet.rules.vocabularies.get(VOCABULARY, ()))]
        faults += [f.inside(place) if place else f for f in found]
    if faults:
        raise RuleBroken(*faults)
    gone = [focus_of(r) for r, _ in said if r.get("status") == "entered-in-error"]
    return [*numbering.made, *_activity(house, work, said=[r for r, _ in said], gone=gone, known=numbering.known)]


def _activity(
    house: House, work: Work, *, said: Sequence[Json], gone: Sequence[str], known: Mapping[str, Json]
) -> Iterator[Json]:
    """The lesions that no record stands for any more, and those that one stands for again."""
    now = {r["id"]: r for r in said}
    live = {focus_of(r) for r in said if r.get("status") != "entered-in-error"}
    for id_ in dict.fromkeys(gone):
        stored = all_of(house, work, "Observation", focus=f"BodyStructure/{id_}") if id_ in known else []
        others = [r for r in stored if r["id"] not in now and r.get("status") != "entered-in-error"]
        if id_ in known and id_ not in live and not others:
            yield {**known[id_], "active": False}
    for id_ in sorted(live & known.keys()):
        if known[id_].get("active") is False:
            yield {**known[id_], "active": True}


class _Numbering:
    """The lesions of one animal while records are given theirs."""

    def __init__(self, house: House, work: Work, sheet: Sheet) -> None:
        self.made: list[Json] = []
        self._work, self._sheet, self._animal = work, sheet, sheet.exam.animal
        known = all_of(house, work, "BodyStructure", patient=f"Patient/{self._animal}")
        self.known = {b["id"]: b for b in known if lesion_number(b, self._animal)}

    def identify(self, record: Json) -> Iterator[Fault]:
        """Set focus and number of a record, or tell why they can't be."""
        given = focus_of(record) or self._before(record)
        structure = body_site.place(codings(record.get("bodySite")), self._sheet.rules).structure
        if not structure:
            return  # listed as of an unknown place; it has no number until a person says where it is
        lesion = self.known.get(given) if given else self._new(record, structure)
        if lesion is None:
            text = f"BodyStructure/{given} is no focal lesion of this animal; leave focus out for a new one, or name"
            can = ", ".join(f"BodyStructure/{k} ({b['description']})" for k, b in sorted(self.known.items())) or "none"
            yield Fault("value", f"{text} one of: {can}.", "Observation.focus")
            return
        there = body_site.place(codings(lesion.get("location")), self._sheet.rules).structure
        if there != structure:
            yield Fault("conflict", f"{lesion['description']} does not lie in this structure.", "Observation.bodySite")
        _set(record, lesion, lesion_number(lesion, self._animal))

    def _before(self, record: Json) -> str:
        stored = self._work.get("Observation", record["id"])
        return focus_of(decoded(stored)) if stored and not stored.deleted else ""

    def _new(self, record: Json, structure: str) -> Json:
        id_, number = new_id(), 1 + max((lesion_number(b, self._animal) for b in self.known.values()), default=0)
        while self._work.claim("BodyStructure", f"lesion={self._animal}.{number}", id_) is not None:
            number += 1  # another exam of the animal took it
        title = self._sheet.rules.structures[structure].title
        made = body_structure(id_, number, animal=self._animal, site=record.get("bodySite", {}), title=title)
        self.known[id_] = made
        self.made.append(made)
        return made


def _set(record: Json, lesion: Json, number: int) -> None:
    others = [f for f in record.get("focus", []) if not str(f.get("reference", "")).startswith("BodyStructure/")]
    kept = [e for e in record.get("extension", []) if e.get("url") != uris.X_LESION]
    record["focus"] = [{"reference": f"BodyStructure/{lesion['id']}", "display": lesion["description"]}, *others]
    record["extension"] = [*kept, {"url": uris.X_LESION, "valuePositiveInt": number}]


def _words(record: Json, vocabulary: Sequence[Attribute]) -> Iterator[Fault]:
    """Words of ours that a lesion's vocabulary lacks."""
    for index, component in enumerate(record.get("component", [])):
        asked = {c.code for c in codings(component.get("code")) if c.system == uris.ATTRIBUTE}
        attribute = next((a for a in vocabulary if a.key in asked), None)
        said = [c.code for c in codings(component.get("valueCodeableConcept")) if c.system == uris.FINDING]
        known = {f"{VOCABULARY}.{attribute.key}.{v.code}": v.display for v in attribute.values} if attribute else {}
        if attribute is not None and said and said[0] not in known:
            can = ", ".join(f"{code} ({display})" for code, display in known.items())
            text = f'"{said[0]}" is no value for {attribute.title} of a focal lesion; it can be {can}.'
            yield Fault("code-invalid", text, f"Observation.component[{index}].value.ofType(CodeableConcept)")


def _at(places: Sequence[str], index: int) -> str:
    return places[index] if index < len(places) else ""
