"""What an invented scanner saw into the Media and Observations it sends."""

import uuid
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from service.demo import invented
from service.demo.stage import Exam
from service.fhir import exact, uris

Json = dict[str, Any]
Coding = tuple[str, str]

LEFT, RIGHT = (uris.SCT, "7771000"), (uris.SCT, "24028007")
PLANES: Mapping[str, Coding] = {
    "long": (uris.SCT, "103339001"),
    "short": (uris.SCT, "103340004"),
    "multi": (uris.PLANE, "multi"),
}
# Where SNOMED CT names the organ the scanner says so; everything else goes in the service's own codes.
SITES: Mapping[str, tuple[Coding, ...]] = {
    "gallbladder": ((uris.SCT, "28231008"),),
    "common_bile_duct": ((uris.SCT, "79741001"),),
    "spleen": ((uris.SCT, "78961009"),),
    "kidney_left": ((uris.SCT, "64033007"), LEFT),
    "kidney_right": ((uris.SCT, "64033007"), RIGHT),
    "adrenal_left": ((uris.SCT, "23451007"), LEFT),
    "adrenal_right": ((uris.SCT, "23451007"), RIGHT),
    "urinary_bladder": ((uris.SCT, "89837001"),),
    "duodenum": ((uris.SCT, "38848004"),),
    "jejunum": ((uris.SCT, "21306003"),),
    "aorta": ((uris.SCT, "7832008"),),
}
PROPERTIES: Mapping[str, Coding] = {
    "length": (uris.SCT, "410668003"),
    "wall-thickness": (uris.LOINC, "59089-3"),
    "resistive-index": (uris.LOINC, "12023-8"),
}
UNITS: Mapping[str, tuple[str, str]] = {  # measure -> UCUM code, unit as people write it
    "resistive-index": ("1", ""),
    "fluid-score": ("{score}", "score"),
    "sludge-share": ("%", "%"),
}


def still(exam: Exam, structure: str, plane: str, *, window: str = "", station: int = 0) -> Json:
    """A still image of a structure in a plane."""
    return _media(exam, structure, plane, kind="image", content="image/jpeg", where=_where(window, station))


def clip(exam: Exam, structure: str, plane: str) -> Json:
    """A clip."""
    return _media(exam, structure, plane, kind="video", content="video/mp4", where=[])


def measurement(
    exam: Exam, structure: str, measure: str, *, plane: str = "", value: str = "", unit: str = "", window: str = "",
    station: int = 0,
) -> Json:  # fmt: skip
    """A measurement, its digits exactly as they stand; value and unit are the case's own unless they are given."""
    code, words = (unit, unit) if unit else UNITS.get(measure, ("mm", "mm"))
    digits = value or exam.case.measures[f"{structure}.{measure}"]
    number: Decimal | int = Decimal(digits) if "." in digits else int(digits)
    quantity = {"value": number, **({"unit": words} if words else {}), "system": uris.UCUM, "code": code}
    where = _where(window, station)
    if plane:
        where.append({"url": uris.X_PLANE, "valueCodeableConcept": _concept([PLANES[plane]])})
    coded = PROPERTIES.get(measure, (uris.MEASURE, measure))
    return _observation(exam, coded, site=structure, extension=where, valueQuantity=quantity)


def finding(exam: Exam, structure: str, value: str, *, window: str = "", station: int = 0) -> Json:
    """A finding; value is "vocabulary.attribute.value", such as "gallbladder.content.sludge-moderate"."""
    coded = (uris.ATTRIBUTE, value.split(".")[1])
    found = _concept([(uris.FINDING, value)])
    return _observation(
        exam, coded, site=structure, extension=_where(window, station), valueCodeableConcept=found
    )  # fmt: skip


def note(exam: Exam, code: str, said: str) -> Json:
    """What is said of the exam as a whole: sedation, fasting."""
    return _observation(exam, (uris.NOTE, code), valueString=said)


def weight(exam: Exam) -> Json:
    """The body weight on the day."""
    quantity = {"value": Decimal(exam.case.weight), "unit": "kg", "system": uris.UCUM, "code": "kg"}
    return _observation(exam, (uris.LOINC, "29463-7"), valueQuantity=quantity)


def bundle(resources: Iterable[Json]) -> Json:
    """The transaction that sends them together; each has a number, so that sending it twice stores it once."""
    entries = []
    for one in resources:
        number = one["identifier"][0]
        condition = f"identifier={number['system']}|{number['value']}"
        request = {"method": "POST", "url": one["resourceType"], "ifNoneExist": condition}
        entries.append({"fullUrl": f"urn:uuid:{number['value']}", "resource": one, "request": request})
    return {"resourceType": "Bundle", "type": "transaction", "entry": entries}


def now() -> str:
    """This moment, as the scanner's clock writes it."""
    return exact.instant(datetime.now(UTC))


def _media(exam: Exam, structure: str, plane: str, *, kind: str, content: str, where: list[Json]) -> Json:
    number = str(uuid.uuid4())
    type_ = _concept([("http://terminology.hl7.org/CodeSystem/media-type", kind)])
    return {
        "resourceType": "Media",
        **({"extension": where} if where else {}),
        "identifier": [{"system": f"{invented.SCANNER}/images", "value": number}],
        "basedOn": [{"reference": f"ServiceRequest/{exam.order}"}],
        "status": "completed",
        "type": type_,
        "view": _concept([PLANES[plane]]),
        "subject": {"reference": f"Patient/{exam.animal}"},
        "createdDateTime": now(),
        "operator": {"display": invented.SONOGRAPHER},
        "bodySite": _site(structure),
        "content": {"contentType": content, "url": f"{invented.SCANNER}/images/{number}"},
    }


def _observation(
    exam: Exam, coded: Coding, *, site: str = "", extension: list[Json] | None = None, **value: object
) -> Json:
    return {
        "resourceType": "Observation",
        **({"extension": extension} if extension else {}),
        "identifier": [{"system": f"{invented.SCANNER}/readings", "value": str(uuid.uuid4())}],
        "basedOn": [{"reference": f"ServiceRequest/{exam.order}"}],
        "status": "preliminary",
        "category": [_concept([(uris.CATEGORY, "imaging")])],
        "code": _concept([coded]),
        "subject": {"reference": f"Patient/{exam.animal}"},
        "effectiveDateTime": now(),
        "performer": [{"display": invented.SONOGRAPHER}],
        **value,
        **({"bodySite": _site(site)} if site else {}),
    }


def _site(structure: str) -> Json:
    return _concept(SITES.get(structure, ((uris.STRUCTURE, structure),)))


def _concept(codings: Iterable[Coding]) -> Json:
    return {"coding": [{"system": system, "code": code} for system, code in codings]}


def _where(window: str, station: int) -> list[Json]:
    found: list[Json] = [{"url": uris.X_WINDOW, "valueString": window}] if window else []
    return [*found, {"url": uris.X_STATION, "valuePositiveInt": station}] if station else found
