"""A Patient with the patient-animal extension into the Animal of the survey."""

from calendar import monthrange
from collections.abc import Mapping
from datetime import date
from typing import Any

from service.basics.coding import Identifier
from service.basics.errors import Fault
from service.exam.animal import Animal
from service.fhir import r4, uris

Json = dict[str, Any]
SEXED_WORDS = {"spayed": "female", "castrated": "male"}  # common practice, no source
EXTENSION = f"Patient.extension.where(url='{uris.ANIMAL}')"


def animal(patient: Json, species: Mapping[tuple[str, str], str]) -> tuple[Animal, list[Fault]]:
    """The animal, and all that is wrong with it as an animal to be scanned (each fault with its FHIRPath)."""
    model = r4.model("Patient").model_validate(patient)
    parts = _animal_parts(model)
    faults: list[Fault] = []
    kind = _species(parts.get("species"), species, faults)
    sex = model.gender if model.gender in {"male", "female"} else ""
    neutered = _neutered(parts.get("genderStatus"), sex, faults)
    dead = bool(model.deceasedBoolean) or model.deceasedDateTime is not None
    if dead:
        faults.append(
            Fault("business-rule", "The animal is recorded as dead; it cannot be scanned.", "Patient.deceased")
        )
    found = Animal(
        id=str(patient.get("id", "")),
        species=kind,
        sex=sex,
        neutered=neutered,
        name=_name(model),
        identifiers=_identifiers(model),
        breed=_text(parts.get("breed")),
        born=_day(model.birthDate),
        dead=dead,
    )
    return found, faults


def born(patient: Json) -> date | None:
    """The day of birth; of a year or a month alone its last day, so that nobody is taken to be older than he may be."""
    text = str(patient.get("birthDate", ""))
    year, month, day = (*(int(part) for part in text.split("-") if part.isdigit()), 0, 0, 0)[:3]
    if not year:
        return None
    return date(year, month or 12, day or monthrange(year, month or 12)[1])


def _animal_parts(model: Any) -> dict[str, list[Any]]:
    parts: dict[str, list[Any]] = {}
    for extension in model.extension or []:
        if extension.url == uris.ANIMAL:
            for part in extension.extension or []:
                parts.setdefault(str(part.url), []).append(part.valueCodeableConcept)
    return parts


def _species(given: list[Any] | None, species: Mapping[tuple[str, str], str], faults: list[Fault]) -> str:
    where = f"{EXTENSION}.extension.where(url='species')"
    concepts = [c for c in given or [] if c is not None]
    if not concepts:
        text = "The animal's species is missing: give the patient-animal extension with species dog or cat."
        faults.append(Fault("required", text, where))
        return ""
    codings = [c for concept in concepts for c in concept.coding or []]
    kinds = {species[key] for c in codings if (key := (str(c.system or ""), str(c.code or ""))) in species}
    if len(kinds) == 1:
        return kinds.pop()
    known = ", ".join(f"{system}|{code} ({kind})" for (system, code), kind in sorted(species.items()))
    text = (
        "The species contradicts itself." if kinds else f"Only dogs and cats can be scanned here; known codes: {known}."
    )
    faults.append(Fault("business-rule", text, where))
    return ""


def _neutered(given: list[Any] | None, sex: str, faults: list[Fault]) -> bool | None:
    concepts = [c for c in given or [] if c is not None]
    codes = {str(c.code) for concept in concepts for c in concept.coding or [] if str(c.system) == uris.NEUTER}
    words = " ".join(str(w or "").lower() for c in concepts for w in [c.text, *(x.display for x in c.coding or [])])
    sexes = {named for word, named in SEXED_WORDS.items() if word in words}
    if {"neutered", "intact"} <= codes or (sex and sexes - {sex}) or len(sexes) > 1:
        text = "The sex data contradict each other: correct gender and genderStatus before ordering."
        faults.append(Fault("business-rule", text, f"{EXTENSION}.extension.where(url='genderStatus')"))
    if "neutered" in codes or (sexes and "intact" not in codes):
        return True
    return False if "intact" in codes else None


def _name(model: Any) -> str:
    for name in model.name or []:
        if name.text:
            return str(name.text)
        parts = [*(name.given or []), *([name.family] if name.family else [])]
        if parts:
            return " ".join(str(part) for part in parts)
    return ""


def _identifiers(model: Any) -> tuple[Identifier, ...]:
    return tuple(Identifier(str(i.system), str(i.value)) for i in model.identifier or [] if i.system and i.value)


def _text(given: list[Any] | None) -> str:
    for concept in given or []:
        if concept is not None:
            shown = concept.text or next((c.display or c.code for c in concept.coding or []), "")
            return str(shown or "")
    return ""


def _day(born: Any) -> date | None:
    return born if isinstance(born, date) else None
