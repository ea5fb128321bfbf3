"""An Observation, Media, ImagingStudy or Procedure into what was sighted, before any mapping."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from service.exam.evidence import Sighting
from service.fhir import uris
from service.fhir.reading.coded import coding, codings, extension
from service.fhir.reading.computed import computed
from service.fhir.reading.lesion import is_lesion, lesion_sightings
from service.fhir.reading.performed import performed
from service.fhir.reading.surgery import OPERATIONS, operation

Json = dict[str, Any]
CLIP_TYPES = frozenset({"video"})
PART_CODES = frozenset({"limitation"})


def sightings(resource: Json) -> tuple[Sighting, ...]:
    """One sighting of a resource; several of an Observation whose components are measurements, and of a study's series.

    A group without a value of its own (hasMember, and neither value nor component) sights nothing."""
    kind = resource["resourceType"]
    if kind == "Observation":
        return tuple(_observation(resource))
    if kind == "Media":
        return (_media(resource),)
    if kind == "Procedure" and resource.get("basedOn"):
        return tuple(performed(resource, source=source(resource)))
    if kind in OPERATIONS:
        return (operation(resource, source=source(resource)),)
    return tuple(_study(resource)) if kind == "ImagingStudy" else ()


def source(resource: Json) -> str:
    """The reference under which entries rest on a resource: "Observation/<id>"."""
    return f"{resource['resourceType']}/{resource.get('id', '')}"


def _observation(resource: Json) -> Iterator[Sighting]:
    if is_lesion(resource):
        yield from lesion_sightings(resource, _sighting)
        return
    components = resource.get("component", [])
    measured = [c for c in components if "valueQuantity" in c]
    if resource.get("hasMember") and not components and not _has_value(resource):
        return
    if measured and not _has_value(resource) and "dataAbsentReason" not in resource:
        yield from _parts(resource, components)
        return
    yield _sighting(resource, resource)
    yield from _parts(resource, components)


def _parts(resource: Json, components: list[Json]) -> Iterator[Sighting]:
    for index, component in enumerate(components):
        if "valueQuantity" in component:
            yield _sighting(resource, component, part=index)


def _sighting(resource: Json, element: Json, *, part: int = -1) -> Sighting:
    """What `element` (the Observation itself or one component) says, in the Observation's setting."""
    codes = codings(element.get("code"))
    quantity, unit = _quantity(element)
    absent = codings(element.get("dataAbsentReason"))
    limits = [c for part in resource.get("component", []) if _limits(part) for c in codings(_value(part))]
    return Sighting(
        source=source(resource),
        kind="observation",
        codes=codes,
        site=codings(resource.get("bodySite")),
        planes=codings(extension(resource, uris.X_PLANE).get("valueCodeableConcept")),
        at=_at(resource, "effective"),
        by=_by(resource.get("performer")),
        quantity=quantity,
        unit=unit,
        words=codings(element.get("valueCodeableConcept")),
        text=_text(resource, element),
        absent=absent,
        limitation=tuple(limits),
        window=str(extension(resource, uris.X_WINDOW).get("valueString", "")),
        station=extension(resource, uris.X_STATION).get("valuePositiveInt"),
        confirmed=extension(resource, uris.X_CONFIRMED).get("valueBoolean") is True,
        retracted=resource.get("status") == "entered-in-error",
        disposition=next((c.code for c in codes if c.system == uris.DISPOSITION), ""),
        reason=next((c.code for c in (*absent, *limits) if c.system == uris.REASON), ""),
        operation=str((element.get("valueCodeableConcept") or {}).get("text", "")),
        answer=element.get("valueBoolean"),
        place=_place(resource, element),
        part=part,
        which=str(extension(resource, uris.X_FETUS).get("valueString", "")),
        **computed(resource, element),
    )


def _media(resource: Json) -> Sighting:
    content = str(resource.get("content", {}).get("contentType", ""))
    types = {c.code for c in codings(resource.get("type"))}
    moving = content.startswith("video/") or bool(types & CLIP_TYPES) or bool(resource.get("duration"))
    moving = moving or int(resource.get("frames", 1)) > 1
    return Sighting(
        source=source(resource),
        kind="clip" if moving else "still",
        site=codings(resource.get("bodySite")),
        planes=codings(resource.get("view")),
        at=_at(resource, "created"),
        by=_reference(resource.get("operator")),
        window=str(extension(resource, uris.X_WINDOW).get("valueString", "")),
        station=extension(resource, uris.X_STATION).get("valuePositiveInt"),
        retracted=resource.get("status") == "entered-in-error",
    )


def _study(resource: Json) -> Iterator[Sighting]:
    """One sighting of each series that says what it shows; one without a site for a study that does not."""
    gone = resource.get("status") == "entered-in-error"
    placed = [s for s in resource.get("series", []) if s.get("bodySite")]
    if not placed:
        yield Sighting(source(resource), "study", at=str(resource.get("started", "")), retracted=gone)
    for series in placed:
        site = [coding(series["bodySite"]), *([coding(series["laterality"])] if series.get("laterality") else [])]
        count = series.get("numberOfInstances")
        yield Sighting(
            source=source(resource),
            kind="study",
            site=tuple(site),
            at=str(series.get("started") or resource.get("started", "")),
            quantity=Decimal(count) if count else None,
            retracted=gone,
        )


def _limits(component: Json) -> bool:
    codes = codings(component.get("code"))
    return any(c.system == uris.DISPOSITION or (c.system == uris.ITEM and c.code in PART_CODES) for c in codes)


def _quantity(element: Json) -> tuple[Decimal | None, str]:
    given = element.get("valueQuantity")
    if isinstance(given, dict) and given.get("value") is not None:
        unit = str(given.get("code", "")) if given.get("system") == uris.UCUM else ""
        return Decimal(given["value"]), unit
    count = element.get("valueInteger")
    return (Decimal(count), "1") if isinstance(count, int) else (None, "")


def _place(resource: Json, element: Json) -> str:
    """Where in the structure: said of the component, else of the whole."""
    said = extension(element, uris.X_PLACE) or extension(resource, uris.X_PLACE)
    return str(said.get("valueCode", ""))


def _has_value(resource: Json) -> bool:
    return any(k.startswith("value") for k in resource)


def _value(element: Json) -> Json | None:
    found: Json | None = element.get("valueCodeableConcept")
    return found


def _at(resource: Json, name: str) -> str:
    period = resource.get(f"{name}Period", {})
    found = resource.get(f"{name}DateTime") or resource.get(f"{name}Instant") or period.get("start")
    return str(found or resource.get("issued", ""))


def _text(resource: Json, element: Json) -> str:
    said = element.get("valueString") or " ".join(str(n.get("text", "")) for n in resource.get("note", []))
    return str(said)


def _by(performers: list[Json] | None) -> str:
    return _reference(performers[0]) if performers else ""


def _reference(given: Json | None) -> str:
    return str(given.get("reference") or given.get("display") or "") if given else ""
